"""Gross errors within one rider, named: a period off by one factor, two recordings exchanged, a single trial off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.study.doubts.rider_power import (
    ALIKE,
    FAR_APART,
    FAR_OFF,
    TYPICAL_ERROR,
    Compared,
    apart,
    common_factor,
)

ADVICE = {
    "period": "A calibration, scale or unit of that visit unlike the others', or one leg for both, would explain it: look"
    " at its recorder, zero checks and files.",
    "halves": "Which of them is wrong the recordings do not tell. A calibration, scale or unit of one visit unlike the"
    " other's would explain it: look at recorder, zero checks and files.",
    "exchange": "Exchanging the two sets both right: look at file and intensity of each in trials.csv.",
    "trial": "Look at file, intensity, start and end in trials.csv, and at the torque of this trial.",
}


@dataclass(frozen=True)
class PowerDoubt:
    """One error that a rider's other trials speak for.

    Attributes
    ----------
    rider : str
    kind : str
        ``period`` (off by one factor), ``halves`` (as many periods on either side), ``exchange`` or ``trial``.
    trials : tuple of str
    factor : float
        Power over the median of the other periods; of several trials the median; NaN of an exchange.
    said : str
        What was found.
    """

    rider: str
    kind: Literal["period", "halves", "exchange", "trial"]
    trials: tuple[str, ...]
    factor: float
    said: str

    def sentence(self) -> str:
        """What was found, and where to look."""
        return f"{self.said} {ADVICE[self.kind]}"


def doubt_powers(rider: str, compared: Sequence[Compared]) -> list[PowerDoubt]:
    """Name the gross errors in one rider's trials: exchanges, whole periods off by a factor, then single trials."""
    within = [pair for pair in combinations(compared, 2) if _is_exchanged(*pair)]
    exchanges = _one_each(within)
    left = _without(compared, exchanges)
    periods = _periods_off(left)
    left = [part for part in left if part.period not in periods]
    single = [part for part in left if part.in_doubt]
    across = _one_each(
        [(one, two) for one, two in combinations(single, 2) if one.period != two.period and _swaps(one, two)]
    )
    return [
        *_doubts_of_exchanges(rider, [*exchanges, *across]),
        *_doubts_of_periods(rider, periods, {part.period for part in compared if part.is_judged}),
        *(_trial(rider, part) for part in _without(single, across)),
    ]


def _is_exchanged(one: Compared, two: Compared) -> bool:
    """Whether two trials of one period stand upside down, by much more than noise, and an exchange sets both right."""
    if one.period != two.period or not (one.is_judged and two.is_judged):
        return False
    low, high = sorted((one, two), key=lambda part: part.others_W)
    upside_down = low.power_W > high.power_W
    spread = TYPICAL_ERROR * math.sqrt(2 * (1 + 1 / min(one.n, two.n)))
    return upside_down and math.log(low.factor / high.factor) > FAR_APART * spread and _swaps(one, two)


def _swaps(one: Compared, two: Compared) -> bool:
    """Whether either power is near what the other's intensity has elsewhere, and nearer than to its own."""
    return one.intensity != two.intensity and all(
        apart(here.power_W, there.others_W) < min(FAR_OFF, apart(here.power_W, here.others_W))
        for here, there in ((one, two), (two, one))
    )


def _one_each(pairs: Sequence[tuple[Compared, Compared]]) -> list[tuple[Compared, Compared]]:
    """Take the pairs that stand farthest apart, each trial in one of them."""
    taken: set[str] = set()
    found = []
    for one, two in sorted(pairs, key=lambda pair: -apart(pair[0].factor, pair[1].factor)):
        if not taken & {one.trial, two.trial}:
            taken |= {one.trial, two.trial}
            found.append((one, two))
    return found


def _without(compared: Sequence[Compared], pairs: Sequence[tuple[Compared, Compared]]) -> list[Compared]:
    taken = {part.trial for pair in pairs for part in pair}
    return [part for part in compared if part.trial not in taken]


def _periods_off(compared: Sequence[Compared]) -> dict[int, list[Compared]]:
    """Return the trials of every period that is off by one factor at two or more intensities."""
    found = {}
    for period in dict.fromkeys(part.period for part in compared):
        own = [part for part in compared if part.period == period and part.is_judged]
        common = common_factor(own) if len({part.intensity for part in own}) > 1 else 1.0
        if apart(common, 1) > FAR_OFF and all(apart(part.factor, common) < ALIKE for part in own):
            found[period] = own
    return found


def _doubts_of_periods(
    rider: str, periods: Mapping[int, list[Compared]], judged: set[int]
) -> list[PowerDoubt]:
    """Name periods off by one factor once; where every period is off against the others, nobody knows which are right."""
    low = {period: own for period, own in periods.items() if common_factor(own) < 1}
    high = {period: own for period, own in periods.items() if period not in low}
    if low and high and set(periods) == judged:
        factor, trials = _common(low)
        both = (*trials, *_common(high)[1])
        said = (
            f"Rider {rider}: power in {_named(low)} is {show_number(factor, 2)} times that in {_named(high)} at the same"
            f" intensities (median, n = {show_count(len(trials), 'trial')})."
        )
        return [PowerDoubt(rider, "halves", both, factor, said)]
    return [doubt for side in (low, high) for doubt in _off(rider, side)]


def _off(rider: str, side: Mapping[int, list[Compared]]) -> list[PowerDoubt]:
    factors = [common_factor(own) for own in side.values()]
    together = bool(factors) and max(factors) / min(factors) < ALIKE
    groups = [dict(side)] if together else [{period: own} for period, own in side.items()]
    found = []
    for group in groups:
        factor, trials = _common(group)
        said = (
            f"Rider {rider}, {_named(group)}: power is {show_number(factor, 2)} times that of the other periods at the same"
            f" intensities (median, n = {show_count(len(trials), 'trial')})."
        )
        found.append(PowerDoubt(rider, "period", trials, factor, said))
    return found


def _common(periods: Mapping[int, list[Compared]]) -> tuple[float, tuple[str, ...]]:
    own = [part for parts in periods.values() for part in parts]
    return common_factor(own), tuple(part.trial for part in own)


def _named(periods: Mapping[int, list[Compared]]) -> str:
    return " and ".join(f"period {period}" for period in sorted(periods))


def _doubts_of_exchanges(rider: str, pairs: Sequence[tuple[Compared, Compared]]) -> Iterator[PowerDoubt]:
    """Name each exchange; of two periods that are each other's only measure, either may hold it."""
    either: dict[frozenset[str], list[tuple[Compared, Compared]]] = {}
    for one, two in pairs:
        alone = one.period == two.period and one.n == two.n == 1
        key = {one.intensity, two.intensity} if alone else {one.trial, two.trial}
        either.setdefault(frozenset(key), []).append((one, two))
    for same in either.values():
        names = ", or ".join(f"{one.trial} and {two.trial}" for one, two in same)
        one, two = same[0]
        powers, elsewhere = (
            " and ".join(f"{show_number(value, 0)} W" for value in pair)
            for pair in ((one.power_W, two.power_W), (one.others_W, two.others_W))
        )
        said = (
            f"Rider {rider}: {names} look exchanged: power {powers}, where other periods have {elsewhere} at these"
            " intensities (medians)."
        )
        trials = tuple(part.trial for pair in same for part in pair)
        yield PowerDoubt(rider, "exchange", trials, math.nan, said)


def _trial(rider: str, part: Compared) -> PowerDoubt:
    said = (
        f"Rider {rider}, {part.trial}: power is {show_number(part.power_W, 0)} W, {show_number(part.factor, 2)} times the"
        f" {show_number(part.others_W, 0)} W of the other periods at this intensity"
        f" (median, n = {show_count(part.n, 'trial')})."
    )
    return PowerDoubt(rider, "trial", (part.trial,), part.factor, said)
