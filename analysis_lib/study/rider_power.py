"""Whether a trial's power is one that the rider gave in the other trials: gross errors within one rider.

A period recorded at half scale and two recordings exchanged leave every file complete, steady and smooth, and the median
of a recorder sound. What the same rider gave in other periods at the same intensity knows nothing of either. All of it
makes cautions: a rider may have a bad day, and nothing is guessed or left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd

from analysis_lib.statistics.estimates import show_count, show_number

FAR_OFF = 1.4
"""Power over the median of a rider's other periods, or the reverse, from which a trial is in doubt. Five spreads of such a
ratio: exp(5 · 5.5 % · √1.5), at the largest typical error of mean power that we know of, that of riders who had not been
made familiar with a 30-km trial (Abbiss 2008), against two other trials. At fixed exertion no source was found."""

FAR_APART = 1.5
"""The same for the ratio of two trials of one period against that ratio in other periods: over four spreads of it,
exp(4.25 · 5.5 % · √2 · √1.5). It holds only where the order is upside down and an exchange would set both right."""

ALIKE = 1.2
"""How far a period's trials may lie from their common factor to be off by one factor: exp(2.7 · 5.5 % · √1.5)."""

FEWEST_OTHERS = 2
"""Other trials at the same intensity from which a single trial is judged; a period takes two trials of its own."""

ADVICE = {
    "period": "A calibration, scale or unit of that visit unlike the others', or one leg for both, would explain it: look"
    " at its recorder, zero checks and files.",
    "halves": "Which of them is wrong the recordings do not tell. A calibration, scale or unit of one visit unlike the"
    " other's would explain it: look at recorder, zero checks and files.",
    "exchange": "Exchanging them sets both right: look at file and intensity of the two in trials.csv.",
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


@dataclass(frozen=True)
class Compared:
    """A trial's power beside that of the same rider at the same intensity in other periods.

    ``agree`` says whether more than half of the others are near their own median; without that they tell nothing.
    """

    trial: str
    period: int
    intensity: str
    power_W: float
    others_W: float
    n: int
    agree: bool

    @property
    def factor(self) -> float:
        """Power over the others' median."""
        return self.power_W / self.others_W

    @property
    def is_judged(self) -> bool:
        """Whether there are others, and they agree."""
        return self.n > 0 and self.agree

    @property
    def in_doubt(self) -> bool:
        """Whether this trial by itself lies outside the bounds."""
        return self.is_judged and self.n >= FEWEST_OTHERS and _apart(self.power_W, self.others_W) > FAR_OFF


def compare_powers(trials: pd.DataFrame, powers_W: Mapping[str, float]) -> list[Compared]:
    """Hold the trials of one rider against each other.

    Parameters
    ----------
    trials : DataFrame
        With ``trial, period, intensity``.
    powers_W : dict of trial to float
        Recorded power; trials without it are passed over.
    """
    rows = [
        (str(trial), int(period), str(intensity), power)
        for trial, period, intensity in zip(
            trials["trial"], trials["period"], trials["intensity"], strict=True
        )
        if (power := powers_W.get(str(trial), math.nan)) > 0
    ]
    found = []
    for trial, period, intensity, power in rows:
        others = [w for _, when, where, w in rows if where == intensity and when != period]
        middle = float(np.median(others)) if others else math.nan
        near = sum(_apart(w, middle) <= FAR_OFF for w in others)
        found.append(Compared(trial, period, intensity, power, middle, len(others), near > len(others) / 2))
    return found


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
        *(_exchange(rider, *pair) for pair in [*exchanges, *across]),
        *_doubts_of_periods(rider, periods, {part.period for part in compared if part.is_judged}),
        *(_trial(rider, part) for part in _without(single, across)),
    ]


def _apart(one: float, two: float) -> float:
    return max(one / two, two / one)


def _is_exchanged(one: Compared, two: Compared) -> bool:
    """Whether two trials of one period stand upside down, by much more than noise, and an exchange sets both right."""
    if one.period != two.period or not (one.is_judged and two.is_judged):
        return False
    low, high = sorted((one, two), key=lambda part: part.others_W)
    upside_down = low.power_W > high.power_W
    return upside_down and low.factor / high.factor > FAR_APART and _swaps(one, two)


def _swaps(one: Compared, two: Compared) -> bool:
    """Whether either power is near what the other's intensity has elsewhere, and nearer than to its own."""
    return one.intensity != two.intensity and all(
        _apart(here.power_W, there.others_W) < min(FAR_OFF, _apart(here.power_W, here.others_W))
        for here, there in ((one, two), (two, one))
    )


def _one_each(pairs: Sequence[tuple[Compared, Compared]]) -> list[tuple[Compared, Compared]]:
    """Take the pairs that stand farthest apart, each trial in one of them."""
    taken: set[str] = set()
    found = []
    for one, two in sorted(pairs, key=lambda pair: -_apart(pair[0].factor, pair[1].factor)):
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
        common = _middle(own) if len({part.intensity for part in own}) > 1 else 1.0
        if _apart(common, 1) > FAR_OFF and all(_apart(part.factor, common) < ALIKE for part in own):
            found[period] = own
    return found


def _middle(compared: Sequence[Compared]) -> float:
    return float(np.median([part.factor for part in compared]))


def _doubts_of_periods(
    rider: str, periods: Mapping[int, list[Compared]], judged: set[int]
) -> list[PowerDoubt]:
    """Name periods off by one factor once; where every period is off against the others, nobody knows which are right."""
    low = {period: own for period, own in periods.items() if _middle(own) < 1}
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
    factors = [_middle(own) for own in side.values()]
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
    return _middle(own), tuple(part.trial for part in own)


def _named(periods: Mapping[int, list[Compared]]) -> str:
    return " and ".join(f"period {period}" for period in sorted(periods))


def _exchange(rider: str, one: Compared, two: Compared) -> PowerDoubt:
    powers, elsewhere = (
        " and ".join(f"{show_number(value, 0)} W" for value in pair)
        for pair in ((one.power_W, two.power_W), (one.others_W, two.others_W))
    )
    said = (
        f"Rider {rider}: {one.trial} and {two.trial} look exchanged: power {powers}, where the rider's other periods at"
        f" these intensities have {elsewhere} (medians)."
    )
    return PowerDoubt(rider, "exchange", (one.trial, two.trial), math.nan, said)


def _trial(rider: str, part: Compared) -> PowerDoubt:
    said = (
        f"Rider {rider}, {part.trial}: power is {show_number(part.power_W, 0)} W, {show_number(part.factor, 2)} times the"
        f" {show_number(part.others_W, 0)} W of the other periods at this intensity"
        f" (median, n = {show_count(part.n, 'trial')})."
    )
    return PowerDoubt(rider, "trial", (part.trial,), part.factor, said)
