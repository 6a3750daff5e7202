"""The sprocket: how a count of teeth becomes a pitch circle and an arm for the chain."""

from __future__ import annotations

import math
from numbers import Real

from analysis_lib.refusals import Refusal

CHAIN_PITCH_M = 0.0127
"""Pitch of the bicycle chain, half an inch (ISO 606 chain 08B; ISO 9633)."""

FEWEST_TEETH, MOST_TEETH = 9, 150
"""Range of teeth for which ISO 606 gives a tooth form (recalled, not read in the standard)."""


def check_teeth(teeth: int, what: str) -> int:
    """Return `teeth` as an integer, or refuse what no chain wheel has.

    Parameters
    ----------
    teeth : int
        Number of teeth, 9 to 150 (ISO 606).
    what : str
        The name the refusal uses, for example ``"sprocket_teeth"``.
    """
    is_whole = isinstance(teeth, Real) and not isinstance(teeth, bool) and float(teeth).is_integer()
    if not is_whole or not FEWEST_TEETH <= teeth <= MOST_TEETH:
        raise Refusal(
            what,
            repr(teeth),
            f"a whole number from {FEWEST_TEETH} to {MOST_TEETH}",
            "count the teeth of the chain wheel and give that number",
        )
    return int(teeth)


def mean_arm_m(teeth: int) -> float:
    """Mean distance from the axle to the line of chain, z·p / 2π, in metres.

    The chain lies around the wheel as a polygon of z links of pitch p. Cauchy's theorem makes the mean
    distance of its tangent lines from any inner point its perimeter over 2π, whatever its shape. This arm,
    and no other, turns the wheel by exactly one turn for every z links, so gears and speeds use it; the pitch
    circle of the standard passes through the corners of the polygon and is a little larger.

    Examples
    --------
    A wheel with 52 teeth: 52 · 12.7 mm / 6.2832 = 105.106 mm.

    >>> round(mean_arm_m(52) * 1000, 3)
    105.106
    """
    return check_teeth(teeth, "teeth") * CHAIN_PITCH_M / (2 * math.pi)


def chordal_speed_variation(teeth: int) -> float:
    """Greatest relative dip of chain speed within one tooth, 1 − cos(π/z) (polygon action).

    The line of chain lies between the corners of the polygon and the middles of its sides, so its arm lies
    between R and R·cos(π/z). The project's smooth pitch curves leave this ripple out; this is its size.

    Examples
    --------
    Twelve teeth: 1 − cos 15° = 1 − 0.965926 = 0.034074.

    >>> round(chordal_speed_variation(12), 6)
    0.034074
    """
    return 1 - math.cos(math.pi / check_teeth(teeth, "teeth"))
