"""Crank dynamics: the steady turn of a stroke, a drivetrain and a resistance that may all depend on speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import axial_phase_deg, crank_angles
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.steady_speed import settle_speeds
from analysis_lib.mechanics.steady_state import solve_steady
from analysis_lib.mechanics.stroke_model import Stroke
from analysis_lib.refusals import Refusal

Law = Literal["constant", "quadratic", "constant power"]


@dataclass(frozen=True)
class Resistance:
    """What resists the wheel, up to its level.

    Attributes
    ----------
    law : {"constant", "quadratic", "constant power"}
        Torque at the wheel R = level; R = level · Ω² (air); or an ergometer that holds power: its torque R
        follows level/Ω with a first-order lag, dR/dt = (level/Ω − R)/response.
    response_s : float
        Response time of the ergometer's brake; used by "constant power" only, where it must be above 0.
    """

    law: Law = "constant"
    response_s: float = 0.0

    def __post_init__(self) -> None:
        if self.law not in ("constant", "quadratic", "constant power"):
            raise Refusal(
                "resistance law",
                repr(self.law),
                "constant, quadratic or constant power",
                "choose the law that comes nearest to the road or the ergometer",
            )
        holds_power = self.law == "constant power"
        if holds_power is not (self.response_s > 0) or not math.isfinite(self.response_s):
            raise Refusal(
                "response_s",
                repr(self.response_s),
                "more than 0 s with constant power, and 0 with the other laws",
                "give the time in which the ergometer's brake follows a change of speed",
            )

    @property
    def holds_power(self) -> bool:
        """Whether the resistance is an ergometer that holds power."""
        return self.law == "constant power"

    def torque(self, wheel_speed: NDArray, level: complex) -> NDArray:
        """Torque at the wheel, N m; what the brake aims at where it holds power."""
        if self.law == "constant":
            return level * np.ones_like(wheel_speed)
        return level * wheel_speed**2 if self.law == "quadratic" else level / wheel_speed


@dataclass(frozen=True)
class SteadyTurn:
    """One turn of steady riding.

    Attributes
    ----------
    crank_rad, speed_rad_s, torque_Nm, wheel_resistance_Nm : arrays of shape (angles,)
    mean_cadence_rpm, power_W : float
        Turns a minute, and mean torque over angle times mean speed, which is exact.
    level : float
        Level of the resistance: N m, N m s² or W according to its law.
    """

    crank_rad: FloatArray
    speed_rad_s: FloatArray
    torque_Nm: FloatArray
    wheel_resistance_Nm: FloatArray
    mean_cadence_rpm: float
    power_W: float
    level: float

    @property
    def torque_phase_deg(self) -> float:
        """Axis of the torque's second harmonic, in [0, 180) degrees."""
        return axial_phase_deg(self.torque_Nm)

    @property
    def speed_swing(self) -> float:
        """Peak-to-peak crank speed over mean speed."""
        return float(np.ptp(self.speed_rad_s)) / (self.mean_cadence_rpm * 2 * math.pi / 60)

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: ``crank_deg, speed_rpm, torque_Nm, wheel_resistance_Nm``."""
        return pd.DataFrame(
            {
                "crank_deg": np.degrees(self.crank_rad),
                "speed_rpm": self.speed_rad_s * 60 / (2 * math.pi),
                "torque_Nm": self.torque_Nm,
                "wheel_resistance_Nm": self.wheel_resistance_Nm,
            }
        )


def steady_turn(
    drivetrain: Drivetrain,
    stroke: Stroke,
    resistance: Resistance,
    mean_cadence_rpm: float | None = None,
    level: float | None = None,
) -> SteadyTurn:
    """Solve the steady turn at a given mean cadence, or at a given level of resistance.

    With the wheel's speed Ω = G·ω, its energy per inertia u = ½Ω² follows d(I·u)/dθ = T(θ, ω) − G·R, and the
    brake of an ergometer dR/dθ = (P/Ω − R)/(response · ω). At a given cadence the level of the resistance is
    found; at a given level the cadence is found, which needs a torque that falls or a resistance that grows
    with speed. A given cadence against a constant resistance is settled pass by pass where that works; all else
    by Newton's method.

    Parameters
    ----------
    drivetrain : Drivetrain
    stroke : Stroke
    resistance : Resistance
    mean_cadence_rpm, level : float
        Exactly one of the two.

    Raises
    ------
    Refusal
        Both or neither given, values not above 0, or no steady turn.
    """
    if (mean_cadence_rpm is None) is (level is None):
        raise Refusal(
            "mean_cadence_rpm and level",
            f"{mean_cadence_rpm!r} and {level!r}",
            "exactly one of the two",
            "give the cadence to find the resistance, or the resistance to find the cadence",
        )
    given = mean_cadence_rpm if level is None else level
    if given is None or not (math.isfinite(given) and given > 0):
        what = "mean_cadence_rpm" if level is None else "level"
        raise Refusal(what, repr(given), "more than 0", "give a positive value")
    gear = drivetrain.turn_gear(stroke.angles)
    start_cadence = mean_cadence_rpm or 60 / (2 * math.pi * float(np.mean(1 / stroke.speed_rad_s)))
    start, torque = _starting_point(drivetrain, stroke, start_cadence)
    if mean_cadence_rpm is not None and resistance.law == "constant":
        speed, settled = settle_speeds(stroke, start, gear, drivetrain.wheel_inertia_kgm2, mean_cadence_rpm)
        if settled:
            level = float(stroke.torque_at(speed).mean() / gear.mean())
            return _as_turn(((gear * speed) ** 2 / 2)[None, :], level, gear, stroke, resistance)
    energy = (gear * start) ** 2 / 2
    start_level = level or _level_of(resistance, torque, np.sqrt(2 * energy))
    states, scales = energy[None, :], np.array([1 / drivetrain.wheel_inertia_kgm2])
    if resistance.holds_power:
        states, scales = np.vstack([states, np.full(gear.size, torque)]), np.append(scales, 1.0)
    target = None if mean_cadence_rpm is None else 60 / (2 * math.pi * mean_cadence_rpm)
    solved = solve_steady(
        lambda y, strength: _rates(y, strength, gear, stroke, resistance),
        scales,
        states,
        start_level,
        lambda y: gear / np.sqrt(2 * y[0]),
        target,
    )
    return _as_turn(solved.states, solved.level, gear, stroke, resistance)


def _rates(
    states: NDArray, level: complex, gear: FloatArray, stroke: Stroke, resistance: Resistance
) -> NDArray:
    wheel_speed = np.sqrt(2 * states[0])
    speed = wheel_speed / gear
    aim = resistance.torque(wheel_speed, level)
    if not resistance.holds_power:
        return (stroke.torque_at(speed) - gear * aim)[None, :]
    braking = states[1]
    follow = (aim - braking) / (resistance.response_s * speed)
    return np.stack([stroke.torque_at(speed) - gear * braking, follow])


def _starting_point(drivetrain: Drivetrain, stroke: Stroke, cadence_rpm: float) -> tuple[FloatArray, float]:
    """Crank speed and wheel torque at that cadence if nothing took notice of speed."""
    torque = stroke.torque_at(np.full(stroke.angles, cadence_rpm * 2 * math.pi / 60))
    return drivetrain.steady_speed(torque, cadence_rpm), drivetrain.wheel_resistance_Nm(torque)


def _level_of(resistance: Resistance, torque: float, wheel_speed: FloatArray) -> float:
    return torque / float(np.mean(resistance.torque(wheel_speed, 1.0)))


def _as_turn(
    states: FloatArray, level: float, gear: FloatArray, stroke: Stroke, resistance: Resistance
) -> SteadyTurn:
    wheel_speed = np.sqrt(2 * states[0])
    speed = wheel_speed / gear
    torque = stroke.torque_at(speed)
    mean_speed = 1 / float(np.mean(1 / speed))
    return SteadyTurn(
        crank_rad=crank_angles(stroke.angles),
        speed_rad_s=speed,
        torque_Nm=torque,
        wheel_resistance_Nm=states[1] if resistance.holds_power else resistance.torque(wheel_speed, level),
        mean_cadence_rpm=mean_speed * 60 / (2 * math.pi),
        power_W=float(torque.mean()) * mean_speed,
        level=level,
    )
