"""The radial force: what a torque measurement does not see, and how much it could change at the joints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from analysis_lib.mechanics.inverse_dynamics import JointLoads, solve_joint_loads
from analysis_lib.mechanics.leg import LegPath
from analysis_lib.mechanics.periodic import check_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.segments import LegSegments
from analysis_lib.refusals import Refusal

EFFECTIVENESS_RANGE = (0.36, 0.61)
"""Index of force effectiveness over a turn in seated cycling, from published means: 0.36 under light load at
40 rpm (flywheel study in Ergonomics 1983) to 0.61 at 80 % of maximal power (Rossato 2008)."""


@dataclass(frozen=True)
class JointLoadRange:
    """Joint loads with the least and with the most radial force that is plausible.

    Attributes
    ----------
    low_push, high_push : JointLoads
        With the higher and the lower index of effectiveness.
    push_N : (float, float)
        Size of the steady downward push in both.
    effectiveness : (float, float)
        Index of effectiveness in both.
    """

    low_push: JointLoads
    high_push: JointLoads
    push_N: tuple[float, float]
    effectiveness: tuple[float, float]

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: ``crank_deg`` and low and high of each moment (N m)."""
        columns = {"crank_deg": np.degrees(self.low_push.crank_rad)}
        for joint in ("hip_Nm", "knee_Nm", "ankle_Nm"):
            both = np.stack([getattr(self.low_push, joint), getattr(self.high_push, joint)])
            columns[f"{joint}_low"], columns[f"{joint}_high"] = both.min(axis=0), both.max(axis=0)
        return pd.DataFrame(columns)

    def sentence(self) -> str:
        """The assumption in words."""
        low, high = self.push_N
        return (
            f"Only torque was measured, so the radial force is assumed: a steady downward push of {low:.0f} "
            f"to {high:.0f} N, which gives an index of effectiveness of {max(self.effectiveness):.2f} to "
            f"{min(self.effectiveness):.2f}. Joint moments are known no better than this range."
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


def range_joint_loads(
    path: LegPath,
    segments: LegSegments,
    speed_rad_s: ArrayLike,
    torque_Nm: ArrayLike,
    effectiveness_range: tuple[float, float] = EFFECTIVENESS_RANGE,
) -> JointLoadRange:
    """Joint loads for one leg's torque, over the radial forces that published effectiveness allows.

    Parameters
    ----------
    path, segments, speed_rad_s
        As in `solve_joint_loads`.
    torque_Nm : array of shape (angles,)
        One leg's crank torque; its tangential force is torque / crank length.
    effectiveness_range : (float, float)
        Lowest and highest plausible index of effectiveness.

    Raises
    ------
    Refusal
        A torque whose own ups and downs make the higher index impossible.
    """
    torque, crank = check_turn(torque_Nm, "torque_Nm")
    tangential = torque / path.geometry.crank_m
    wanted = (max(effectiveness_range), min(effectiveness_range))
    pushes = tuple(_push_for(tangential, crank, index) for index in wanted)
    low, high = (
        solve_joint_loads(path, segments, speed_rad_s, tangential, radial_from_push(push, crank))
        for push in pushes
    )
    return JointLoadRange(low, high, (pushes[0], pushes[1]), wanted)


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
        brentq(lambda push: effectiveness(tangential, radial_from_push(push, crank)) - wanted, 0.0, strongest)
    )
