"""The radial force: what a torque measurement does not see, and how much it could change at the joints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike

from analysis_lib.mechanics.inverse_dynamics import JointLoads, solve_joint_loads
from analysis_lib.mechanics.leg import ComplexArray, LegPath
from analysis_lib.mechanics.periodic import check_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.segments import LegSegments
from analysis_lib.refusals import Refusal

EFFECTIVENESS_RANGE = (0.36, 0.61)
"""Index of force effectiveness over a turn in seated cycling, from published means: 0.36 under light load at
40 rpm (flywheel study in Ergonomics 1983) to 0.61 at 80 % of maximal power (Rossato 2008)."""


@dataclass(frozen=True)
class RadialCase:
    """One radial force that goes with the torque, and the joint loads that it makes.

    Attributes
    ----------
    name : str
        What the radial force is assumed to be.
    effectiveness : float
        Its index over the turn.
    force_N : complex array of shape (angles,)
        Force of the foot on the pedal, forward + i·upward.
    loads : JointLoads
    """

    name: str
    effectiveness: float
    force_N: ComplexArray
    loads: JointLoads


@dataclass(frozen=True)
class JointLoadRange:
    """Joint loads over the radial forces that are plausible.

    Attributes
    ----------
    cases : tuple of RadialCase
        A steady downward push, of the size that gives the highest and the lowest plausible index; and the radial force
        that makes the moments of the joints least.
    push_N : (float, float)
        Size of the push in the first two.
    """

    cases: tuple[RadialCase, ...]
    push_N: tuple[float, float]

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: ``crank_deg`` and low and high of each moment (N m)."""
        columns = {"crank_deg": np.degrees(self.cases[0].loads.crank_rad)}
        for joint in ("hip_Nm", "knee_Nm", "ankle_Nm"):
            each = np.stack([getattr(case.loads, joint) for case in self.cases])
            columns[f"{joint}_low"], columns[f"{joint}_high"] = each.min(axis=0), each.max(axis=0)
        return pd.DataFrame(columns)

    def sentence(self) -> str:
        """The assumption in words."""
        low, high = self.push_N
        first, second, least = (case.effectiveness for case in self.cases)
        return (
            f"Only torque was measured, so the radial force is assumed: a steady downward push of {low:.0f} to "
            f"{high:.0f} N, which gives an index of effectiveness of {first:.2f} to {second:.2f}, or the radial force that "
            f"makes the moments of hip, knee and ankle least, which gives {least:.2f}. Joint moments are known no better "
            "than the range of these."
        )


def effectiveness(tangential_N: ArrayLike, radial_N: ArrayLike) -> float:
    """Index of force effectiveness over a turn: ∮ tangential dθ / ∮ |force| dθ (LaFortune and Cavanagh).

    Examples
    --------
    Tangential 30 N and radial 40 N throughout: 30/50.

    >>> effectiveness([30.0] * 8, [40.0] * 8)
    0.6
    """
    tangential, radial = np.asarray(tangential_N, dtype=float), np.asarray(radial_N, dtype=float)
    return float(np.mean(tangential) / np.mean(np.hypot(tangential, radial)))


def radial_from_push(push_N: float, crank_rad: FloatArray) -> FloatArray:
    """Outward radial force (N) of a steady downward push: −push · cos θ, inward at the top, outward at the
    bottom.

    The first harmonic of the measured radial force of Park and Caldwell 2021 has this phase to within 1°.
    """
    return -push_N * np.cos(crank_rad)


def radial_of_least_moments(
    path: LegPath, segments: LegSegments, speed_rad_s: ArrayLike, tangential_N: FloatArray
) -> FloatArray:
    """Outward radial force (N) that makes hip² + knee² + ankle² of the moments least, at every angle by itself.

    Moments are straight lines in the radial force, M = M₀ + R·S, so R = −Σ M₀S / Σ S². A cost of squared joint moments
    predicted measured pedal forces in Redfield and Hull 1986 (J Biomech 19:523, recalled); the three joints count
    alike here.
    """
    none = solve_joint_loads(path, segments, speed_rad_s, tangential_N, np.zeros_like(tangential_N))
    one = solve_joint_loads(path, segments, speed_rad_s, tangential_N, np.ones_like(tangential_N))
    base = np.stack([none.hip_Nm, none.knee_Nm, none.ankle_Nm])
    slope = np.stack([one.hip_Nm, one.knee_Nm, one.ankle_Nm]) - base
    return -(base * slope).sum(axis=0) / (slope**2).sum(axis=0)


def range_joint_loads(
    path: LegPath,
    segments: LegSegments,
    speed_rad_s: ArrayLike,
    torque_Nm: ArrayLike,
    effectiveness_range: tuple[float, float] = EFFECTIVENESS_RANGE,
) -> JointLoadRange:
    """Joint loads for one leg's torque, over the radial forces that are plausible.

    At one end a steady downward push, as heavy as published effectiveness allows, which is what a measured radial force
    looked like; at the other the radial force that spares the joints most. Measured forces lie between: published
    shares of the joints are nearer to the second, see `published_joints`.

    Parameters
    ----------
    path, segments, speed_rad_s
        As in `solve_joint_loads`.
    torque_Nm : array of shape (angles,)
        One leg's crank torque; its tangential force is torque / crank length.
    effectiveness_range : (float, float)
        Lowest and highest plausible index of effectiveness. Where the torque's own ups and downs keep it below the
        higher one, there is no light push.

    Raises
    ------
    Refusal
        A torque whose ups and downs make even the lower index impossible.
    """
    torque, crank = check_turn(torque_Nm, "torque_Nm")
    tangential = torque / path.geometry.crank_m
    best = effectiveness(tangential, np.zeros_like(tangential))
    high = _push_for(tangential, crank, min(effectiveness_range))
    low = _push_for(tangential, crank, max(effectiveness_range)) if max(effectiveness_range) < best else 0.0
    radials = {
        "light push": radial_from_push(low, crank),
        "heavy push": radial_from_push(high, crank),
        "least joint moments": radial_of_least_moments(path, segments, speed_rad_s, tangential),
    }
    cases = tuple(
        RadialCase(
            name,
            effectiveness(tangential, radial),
            (tangential + 1j * radial) * np.exp(-1j * crank),
            solve_joint_loads(path, segments, speed_rad_s, tangential, radial),
        )
        for name, radial in radials.items()
    )
    return JointLoadRange(cases, (low, high))


def _push_for(tangential: FloatArray, crank: FloatArray, wanted: float) -> float:
    best = effectiveness(tangential, np.zeros_like(tangential))
    if not 0 < wanted < best:
        raise Refusal(
            "effectiveness_range",
            f"{wanted:g}",
            f"above 0 and below {best:.2f}, the index of this torque without any radial force",
            "give a lower index, or measure the radial force",
        )
    strongest = 10 * float(np.max(np.abs(tangential))) / wanted
    return float(
        scipy.optimize.brentq(
            lambda push: effectiveness(tangential, radial_from_push(push, crank)) - wanted, 0.0, strongest
        )
    )
