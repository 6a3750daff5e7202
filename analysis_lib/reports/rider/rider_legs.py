"""The legs of a rider whose legs were not measured: stated lengths, and masses from a named table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import pandas as pd

from analysis_lib.mechanics.leg import LegGeometry, LegPath, ankling, follow_leg
from analysis_lib.mechanics.segments import LegSegments, Sex, leg_segments
from analysis_lib.refusals import Refusal

THIGH_M, SHANK_M, FOOT_M, FOOT_LENGTH_M = 0.42, 0.43, 0.14, 0.26
"""A rider of middle height: about 0.245 and 0.246 of stature for thigh and shank (Drillis & Contini, recalled)."""

HIP_BEHIND_M, HIP_TO_LOWEST_PEDAL_M = 0.20, 0.85
"""Seat tube near 73 degrees, and a knee not quite straight at the bottom (common practice, no source)."""

MEAN_PITCH_DEG, PITCH_SWING_DEG, TOES_DOWN_AT_DEG = 18.0, 20.0, 285.0
"""Foot pitch through the turn, toes furthest down late in the upstroke (stated, not measured)."""

SHORTEST_CRANK_M, LONGEST_CRANK_M = 0.08, 0.25
"""From cranks for children to longer ones than are sold (common practice, no source)."""

TABLES = ("Winter", "de Leva 1996, male", "de Leva 1996, female")


@dataclass(frozen=True)
class StatedLegs:
    """One leg's path and segments, and what had to be stated to have them."""

    path: LegPath
    segments: LegSegments
    body_mass_kg: float

    @property
    def pair(self) -> tuple[LegPath, LegSegments]:
        """Path and segments, as the mechanics wants them."""
        return self.path, self.segments

    def sentence(self) -> str:
        """What was stated, in words."""
        leg = self.path.geometry
        return (
            f"The legs are stated, not measured: thigh {leg.thigh_m:g} m, shank {leg.shank_m:g} m, ankle to"
            f" pedal {leg.foot_m:g} m, crank {1000 * leg.crank_m:g} mm, hip {leg.hip_behind_m:g} m behind and"
            f" {leg.hip_above_m:.3g} m above the crank axis and at rest there, foot pitch"
            f" {MEAN_PITCH_DEG:g} ± {PITCH_SWING_DEG:g}°; masses of a body of {self.body_mass_kg:g} kg by"
            f" {self.segments.source}."
        )


def stated_legs(body_mass_kg: float, crank_m: float, table: str = "Winter", angles: int = 360) -> StatedLegs:
    """Return a leg of middle lengths at a rider's crank length and body mass.

    Parameters
    ----------
    body_mass_kg, crank_m : float
    table : {"Winter", "de Leva 1996, male", "de Leva 1996, female"}
    angles : int
        Equally spaced crank angles.

    Raises
    ------
    Refusal
        An unknown table, or sizes that no leg has.

    Examples
    --------
    A leg of 75 kg by Winter: 0.161 · 75 = 12.1 kg.

    >>> round(stated_legs(75.0, 0.170).segments.mass_kg, 1)
    12.1
    """
    if table not in TABLES:
        raise Refusal("segment_table", repr(table), " or ".join(map(repr, TABLES)), "choose one of these")
    if not SHORTEST_CRANK_M <= crank_m <= LONGEST_CRANK_M:
        raise Refusal(
            "crank length",
            f"{1000 * crank_m:g} mm",
            f"{1000 * SHORTEST_CRANK_M:g} to {1000 * LONGEST_CRANK_M:g} mm",
            "read it off the crank, axle to axle, and give it in millimetres",
        )
    geometry = LegGeometry(crank_m, THIGH_M, SHANK_M, FOOT_M, HIP_BEHIND_M, HIP_TO_LOWEST_PEDAL_M - crank_m)
    path = follow_leg(geometry, ankling(angles, MEAN_PITCH_DEG, PITCH_SWING_DEG, TOES_DOWN_AT_DEG))
    lengths = (THIGH_M, SHANK_M, FOOT_M)
    if table == "Winter":
        return StatedLegs(path, leg_segments("Winter", body_mass_kg, *lengths), body_mass_kg)
    sex: Sex = next(name for name in get_args(Sex) if table.endswith(f" {name}"))
    segments = leg_segments("de Leva 1996", body_mass_kg, *lengths, sex=sex, foot_length_m=FOOT_LENGTH_M)
    return StatedLegs(path, segments, body_mass_kg)


def _stated(column: str, value: float) -> str:
    return f"{column} {value:g}" if value > 0 else f"no {column}"


def legs_of(riders: pd.DataFrame, rider: str, table: str = "Winter") -> StatedLegs:
    """Return a rider's legs from the ``mass_kg`` and ``crank_length_mm`` of riders.csv, lengths as stated here.

    Raises
    ------
    Refusal
        Where one of the two is not given.
    """
    here = riders[riders["rider"] == rider].reindex(columns=["mass_kg", "crank_length_mm"])
    mass, crank_mm = here.iloc[0].astype(float).tolist()
    if not (mass > 0 and crank_mm > 0):
        raise Refusal(
            f"riders.csv, rider {rider}",
            f"{_stated('mass_kg', mass)}, {_stated('crank_length_mm', crank_mm)}",
            "both, for what the inertia of the legs does",
            "weigh the rider and read the length off the crank",
            "rider",
            rider,
        )
    return stated_legs(mass, crank_mm / 1000, table)
