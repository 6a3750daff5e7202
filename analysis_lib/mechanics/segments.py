"""The segments of a leg: mass, centre of mass and inertia of thigh, shank and foot from a named table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from analysis_lib.refusals import Refusal

TableName = Literal["de Leva 1996", "Winter"]
Sex = Literal["male", "female"]

# de Leva 1996, Table 4, as read in four implementations that agree: mass over body mass, centre of mass
# from the proximal end over length, radius of gyration about the transverse axis over length. The shank runs
# from knee joint centre to lateral malleolus. The foot's figures refer to the line from heel to toe tip.
_DE_LEVA = {
    "male": {
        "thigh": (0.1416, 0.4095, 0.329),
        "shank": (0.0433, 0.4459, 0.249),
        "foot": (0.0137, 0.4415, 0.245),
    },
    "female": {
        "thigh": (0.1478, 0.3612, 0.364),
        "shank": (0.0481, 0.4416, 0.267),
        "foot": (0.0129, 0.4014, 0.279),
    },
}

# Winter, Biomechanics and Motor Control of Human Movement (after Dempster), recalled, not read: mass, centre
# of mass and radius of gyration about it; the foot runs from lateral malleolus to second metatarsal head.
_WINTER = {"thigh": (0.100, 0.433, 0.323), "shank": (0.0465, 0.433, 0.302), "foot": (0.0145, 0.500, 0.475)}

MIDDLE_OF_FOOT = 0.5
"""Centre of mass from ankle to pedal over their distance: Winter's figure, also used with de Leva's mass."""


@dataclass(frozen=True)
class Segment:
    """One rigid segment.

    Attributes
    ----------
    mass_kg, length_m : float
    centre : float
        Distance of the centre of mass from the proximal joint, over length.
    inertia_kgm2 : float
        About the centre of mass, transverse axis.
    """

    mass_kg: float
    length_m: float
    centre: float
    inertia_kgm2: float


@dataclass(frozen=True)
class LegSegments:
    """Thigh, shank and foot of one leg, and the table that they come from.

    The tables disagree: for 75 kg the thigh weighs 10.6 kg by de Leva (male) and 7.5 kg by Winter. Say which
    was used.
    """

    thigh: Segment
    shank: Segment
    foot: Segment
    source: str

    @property
    def mass_kg(self) -> float:
        """Mass of the leg."""
        return self.thigh.mass_kg + self.shank.mass_kg + self.foot.mass_kg


def leg_segments(
    table: TableName,
    body_mass_kg: float,
    thigh_m: float,
    shank_m: float,
    foot_m: float,
    sex: Sex | None = None,
    foot_length_m: float | None = None,
) -> LegSegments:
    """Segments of one leg from a table by name.

    Parameters
    ----------
    table : {"de Leva 1996", "Winter"}
    body_mass_kg : float
    thigh_m, shank_m : float
        Hip to knee and knee to ankle joint centre.
    foot_m : float
        Ankle joint centre to pedal axle.
    sex : {"male", "female"}
        Wanted by de Leva, whose figures differ; not by Winter, who has one set.
    foot_length_m : float
        Heel to toe tip; wanted by de Leva, whose radius of gyration refers to it. His centre of mass lies on
        the line from heel to toe, which is not the line from ankle to pedal, so the middle of the latter is
        used.

    Raises
    ------
    Refusal
        An unknown table, a sex or foot length missing or not used by the table, impossible sizes.

    Examples
    --------
    A thigh of 75 kg by Winter: 0.100 · 75 = 7.5 kg.

    >>> leg_segments("Winter", 75.0, 0.42, 0.43, 0.14).thigh.mass_kg
    7.5
    """
    _check_sizes(body_mass_kg, thigh_m, shank_m, foot_m)
    _check_table(table, sex, foot_length_m)
    rows = _WINTER if sex is None else _DE_LEVA[sex]
    return LegSegments(
        thigh=_segment(rows["thigh"], body_mass_kg, thigh_m),
        shank=_segment(rows["shank"], body_mass_kg, shank_m),
        foot=_foot(rows["foot"], body_mass_kg, foot_m, foot_length_m or foot_m),
        source=table if sex is None else f"{table}, {sex}",
    )


def _segment(row: tuple[float, float, float], body_mass_kg: float, length_m: float) -> Segment:
    mass, centre, gyration = row[0] * body_mass_kg, row[1], row[2]
    return Segment(mass, length_m, centre, mass * (gyration * length_m) ** 2)


def _foot(row: tuple[float, float, float], body_mass_kg: float, foot_m: float, gyration_m: float) -> Segment:
    mass = row[0] * body_mass_kg
    return Segment(mass, foot_m, MIDDLE_OF_FOOT, mass * (row[2] * gyration_m) ** 2)


def _check_table(table: str, sex: str | None, foot_length_m: float | None) -> None:
    if table not in get_args(TableName):
        raise Refusal("segment table", repr(table), " or ".join(get_args(TableName)), "choose one by name")
    wanted = table == "de Leva 1996"
    if (sex in get_args(Sex)) is not wanted or (sex is not None and not wanted):
        raise Refusal(
            "sex",
            repr(sex),
            "male or female with de Leva 1996, none with Winter",
            "give what the table distinguishes, or choose the other table",
        )
    if (foot_length_m is not None) is not wanted or (
        foot_length_m is not None and not 0.15 < foot_length_m < 0.4
    ):
        raise Refusal(
            "foot_length_m",
            repr(foot_length_m),
            "heel to toe tip, 0.15 to 0.4 m, with de Leva 1996, none with Winter",
            "measure the bare foot in metres",
        )


def _check_sizes(body_mass_kg: float, thigh_m: float, shank_m: float, foot_m: float) -> None:
    limits = {
        "body_mass_kg": (body_mass_kg, 20.0, 250.0),
        "thigh_m": (thigh_m, 0.2, 0.7),
        "shank_m": (shank_m, 0.2, 0.7),
        "foot_m": (foot_m, 0.05, 0.3),
    }
    for name, (value, low, high) in limits.items():
        if not (math.isfinite(value) and low <= value <= high):
            raise Refusal(name, repr(value), f"{low:g} to {high:g}", "give kilograms and metres")
