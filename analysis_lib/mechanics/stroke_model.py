"""The stroke model: two-leg crank torque by crank angle, and how it falls with crank speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis_lib.mechanics.periodic import check_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal


@dataclass(frozen=True)
class Stroke:
    """Crank torque as a surface over angle and speed, flat in speed: T(θ, ω) = T₀(θ) + s(θ)·(ω − ω₀(θ)).

    Attributes
    ----------
    torque_Nm : array of shape (angles,)
        Two-leg torque T₀ measured at equally spaced right-crank angles, 0 to 2π, end excluded.
    speed_rad_s : array of shape (angles,)
        Crank speed ω₀ at which it was measured.
    slope_Nms : array of shape (angles,)
        Change of torque per change of crank speed, s = ∂T/∂ω, not above 0: muscles give less torque when
        faster.
    """

    torque_Nm: FloatArray
    speed_rad_s: FloatArray
    slope_Nms: FloatArray

    @property
    def angles(self) -> int:
        """Number of crank angles."""
        return self.torque_Nm.size

    def torque_at(self, speed_rad_s: FloatArray) -> FloatArray:
        """Torque at the stroke's own angles when the crank runs at `speed_rad_s` there."""
        return self.torque_Nm + self.slope_Nms * (speed_rad_s - self.speed_rad_s)

    def torque_between(self, crank_rad: float, speed_rad_s: float) -> float:
        """Torque at any crank angle and speed, running straight between the stroke's own angles."""
        position = crank_rad / (2 * math.pi) * self.angles
        cell = math.floor(position)
        part = position - cell
        ends = np.array([cell, cell + 1]) % self.angles
        weights = np.array([1 - part, part])
        lost = self.slope_Nms[ends] * (speed_rad_s - self.speed_rad_s[ends])
        return float(weights @ (self.torque_Nm[ends] + lost))


def make_stroke(torque_Nm: ArrayLike, speed_rad_s: ArrayLike, slope_Nms: ArrayLike = 0.0) -> Stroke:
    """Check a measured turn and make it a stroke.

    Parameters
    ----------
    torque_Nm : array of shape (angles,)
    speed_rad_s : float or array of shape (angles,)
        Crank speed while the torque was measured.
    slope_Nms : float or array of shape (angles,)
        ∂T/∂ω in N m per rad/s. Zero keeps torque unchanged by speed. Where torque falls in a straight line to
        nothing at twice the optimal speed (maximal cycling: Dorel 2005, 118.5 N m at 129.8 rpm), the slope is
        −T_opt/ω_opt = −118.5 / 13.59 = −8.7 N m s; submaximal slopes are not known and must be measured.

    Raises
    ------
    Refusal
        Not one finite turn, speeds that are not positive, or a slope above 0.
    """
    torque, _ = check_turn(torque_Nm, "torque_Nm")
    speed, _ = check_turn(np.broadcast_to(np.asarray(speed_rad_s, dtype=float), torque.shape), "speed_rad_s")
    slope, _ = check_turn(np.broadcast_to(np.asarray(slope_Nms, dtype=float), torque.shape), "slope_Nms")
    if not speed.min() > 0:
        raise Refusal(
            "speed_rad_s",
            f"a smallest speed of {speed.min():.3g} rad/s",
            "a positive crank speed at every angle",
            "leave out turns in which the crank stops",
        )
    if slope.max() > 0:
        raise Refusal(
            "slope_Nms",
            f"a slope up to {slope.max():.3g} N·m·s",
            "0 or less: torque that does not grow with speed",
            "check the sign of the fitted torque-speed line",
        )
    return Stroke(torque, speed, slope)
