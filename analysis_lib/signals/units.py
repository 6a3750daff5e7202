"""The units a recorder may declare, and what each is worth in the library's own units."""

from __future__ import annotations

import math
from difflib import get_close_matches

from analysis_lib.refusals import Refusal

STANDARD_GRAVITY = 9.80665  # m/s², by definition (3rd CGPM, 1901)

# Factor from the declared unit to metres, seconds, radians, newton metres, degrees Celsius, newtons and radians a second.
# Exact: 1 kgf = 9.80665 N, 1 lbf = 0.45359237 kgf, 1 in = 0.0254 m, 1 ft = 0.3048 m (NIST SP 811, appendix B.8).
KILOGRAM_FORCE_N = STANDARD_GRAVITY
POUND_FORCE_N = 0.45359237 * KILOGRAM_FORCE_N
UNITS_BY_QUANTITY: dict[str, dict[str, float]] = {
    "time": {"s": 1.0, "ms": 1e-3},
    "angle": {"rad": 1.0, "deg": math.pi / 180, "turn": 2 * math.pi},
    "torque": {
        "N m": 1.0,
        "mN m": 1e-3,
        "lbf in": POUND_FORCE_N * 0.0254,
        "lbf ft": POUND_FORCE_N * 0.3048,
        "kgf cm": KILOGRAM_FORCE_N * 0.01,
    },
    "temperature": {"degC": 1.0},
    "force": {"N": 1.0, "kN": 1e3, "lbf": POUND_FORCE_N},
    "turning rate": {"rad/s": 1.0, "deg/s": math.pi / 180, "turn/s": 2 * math.pi, "rpm": math.pi / 30},
    "level": {"V": 1.0, "mV": 1e-3, "1": 1.0},
    "length": {"m": 1.0, "mm": 1e-3, "cm": 1e-2},
}

QUANTITY_BY_COLUMN = {
    "time_s": "time",
    "crank_deg": "angle",
    "torque_left_Nm": "torque",
    "torque_right_Nm": "torque",
    "torque_Nm": "torque",
    "temperature_C": "temperature",
    "crank_rate_rad_s": "turning rate",
    "pulse_level": "level",
    "index_level": "level",
    **{f"marker_{place}_{way}_m": "length" for place in ("pedal", "axis") for way in ("forward", "up")},
    **{
        f"force_{direction}_{leg}_N": "force"
        for direction in ("tangential", "radial", "fore_aft", "vertical")
        for leg in ("left", "right")
    },
}


def unit_factor(name: str, unit: str, file: str) -> float:
    """Return what one declared unit of a canonical column is worth in the library's units.

    Parameters
    ----------
    name : str
        Canonical column, e.g. ``"crank_deg"``.
    unit : str
        The unit the recorder's settings declare for it.
    file : str
        File name, for the message.

    Returns
    -------
    float
        Seconds, radians, newton metres, degrees Celsius, newtons, radians a second, volts or metres for each declared
        unit.

    Raises
    ------
    Refusal
        For a column or a unit that the library does not know; a unit is never guessed.

    Examples
    --------
    >>> unit_factor("torque_Nm", "mN m", "ride.csv")
    0.001
    """
    quantity = QUANTITY_BY_COLUMN.get(name)
    if quantity is None:
        raise Refusal(
            what=f"{file}, column map",
            got=f"the name {name!r}{nearest(name, QUANTITY_BY_COLUMN)}",
            wanted="one of " + ", ".join(QUANTITY_BY_COLUMN),
            remedy="correct the name in study.toml",
            scope="trial",
        )
    known = UNITS_BY_QUANTITY[quantity]
    if unit not in known:
        raise Refusal(
            what=f"{file}, unit of {name}",
            got=f"{unit!r}{nearest(unit, known)}",
            wanted="one of " + ", ".join(repr(k) for k in known),
            remedy="declare the unit in which the recorder wrote this column",
            scope="trial",
        )
    return known[unit]


def nearest(word: str, known) -> str:
    """Return the nearest known spelling as a remark for a message, or nothing when none is near."""
    lowered = {k.lower(): k for k in known}
    close = get_close_matches(word.lower(), lowered, n=1, cutoff=0.5)
    return f" (did you mean {lowered[close[0]]!r}?)" if close else ""
