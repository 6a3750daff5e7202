"""Whether a trial's power is one that the rider gave in the other trials: gross errors within one rider.

A period recorded at half scale and two recordings exchanged leave every file complete, steady and smooth, and the median
of a recorder sound. What the same rider gave in other periods at the same intensity knows nothing of either. All of it
makes cautions: a rider may have a bad day, and nothing is guessed or left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import pandas as pd

TYPICAL_ERROR = 0.055
"""Of one rider's mean power from day to day, relative: the largest published that we know of, that of a 30-km trial before
riders were made familiar with it (Abbiss 2008). At fixed exertion no source was found."""

FAR_OFF = 1.5
"""Power over the median of a rider's other periods, or the reverse, from which a trial is in doubt: six spreads of such a
ratio against two other trials, exp(6 · 5.5 % · √1.5)."""

FAR_APART = 5
"""Spreads by which the ratio of two trials of one period must leave that ratio in other periods to look exchanged. That is
asked only where their order is upside down and an exchange would set both right."""

ALIKE = 1.3
"""How far a period's trials may lie from their common factor to be off by one factor; common practice, no source."""

FEWEST_OTHERS = 2
"""Other trials at the same intensity from which a single trial is judged; a period takes two trials of its own."""


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
        return self.is_judged and self.n >= FEWEST_OTHERS and apart(self.power_W, self.others_W) > FAR_OFF


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
        middle = median(others) if others else math.nan
        near = sum(apart(w, middle) <= FAR_OFF for w in others)
        found.append(Compared(trial, period, intensity, power, middle, len(others), near > len(others) / 2))
    return found


def apart(one: float, two: float) -> float:
    """How many times the larger is the smaller."""
    return max(one / two, two / one)


def common_factor(compared: Sequence[Compared]) -> float:
    """Return the median of trials' factors."""
    return median(part.factor for part in compared)
