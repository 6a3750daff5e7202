"""Cells of outcomes that lie so far from all others of the outcome that a slip of the pen is likelier than a rider.

They are named and counted like all others: whoever wrote the cell can know, nobody else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import Contents, about_trial

SPREADS_APART = 10.0
"""Median absolute deviations from the median at which a cell is far: 6.7 standard deviations of a normal distribution."""

TIMES_APART = 3.0
"""How many times the median, or the reverse, a cell is then, and how many times the same rider's others; a slip of the
decimal point makes ten. Common practice, no source."""

TIMES_APART_ALONE = 10.0
"""The same where the rider has no other value at the intensity."""

FEWEST_VALUES = 5
"""Values at an intensity from which there is a median to be far from."""


@dataclass(frozen=True)
class FarCell:
    """A cell far from the others: the place of its row in the table, its value and the median of the others' values."""

    place: int
    outcome: Outcome
    value: float
    median: float


def check_far_values(contents: Contents) -> Iterator[Problem]:
    """No outcome of trials.csv has a cell that lies far from all others; each is told and none is left out."""
    rows = contents.ridden_rows
    for cell in far_cells(contents.settings, contents.ridden):
        yield about_trial(
            rows[cell.place],
            cell.outcome.name,
            show_number(cell.value),
            f"a value like the others at this intensity, whose median is {show_number(cell.median)}",
            "look at the decimal point, the unit and the row; the value counts as it stands until the cell is corrected",
            "note",
        )


def far_cells(settings: StudySettings, trials: pd.DataFrame) -> list[FarCell]:
    """Return the cells of declared outcomes that lie far from the others at the same intensity.

    A cell is far when it lies more than `SPREADS_APART` median absolute deviations from the median, by values and by their
    logarithms, and is more than `TIMES_APART` times the median and the rider's own others, or the reverse. A deviation
    counts as no less than the smallest effect that matters, nor than the step in which the values are written: scores of
    few steps often agree. Values of 0 or below have no such ratio and are passed over.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        Rows of trials.csv that count, with ``rider, intensity`` and a column for each outcome.
    """
    found: list[FarCell] = []
    for outcome in settings.outcomes:
        if outcome.source == "trials" and outcome.name in trials and outcome.period_deg is None:
            values = pd.to_numeric(trials[outcome.name], errors="coerce").to_numpy(dtype=float)
            found += _far_of(outcome, values, trials)
    return found


def _far_of(outcome: Outcome, values: NDArray[np.float64], trials: pd.DataFrame) -> Iterator[FarCell]:
    intensity, rider = (trials[name].astype(str).to_numpy() for name in ("intensity", "rider"))
    for name in dict.fromkeys(intensity):
        here = np.flatnonzero((intensity == name) & (values > 0))
        if len(here) < FEWEST_VALUES:
            continue
        known, middle = values[here], float(np.median(values[here]))
        for place in here[_is_far(known, middle, outcome.smallest_effect)]:
            own = [values[other] for other in here if rider[other] == rider[place] and other != place]
            times = TIMES_APART if own else TIMES_APART_ALONE
            if _times(values[place], float(np.median(own)) if own else middle) > times:
                yield FarCell(int(place), outcome, float(values[place]), middle)


def _is_far(values: NDArray[np.float64], middle: float, smallest_effect: float) -> NDArray[np.bool_]:
    steps = np.diff(np.unique(values))
    least = max(smallest_effect, float(steps.min()) if len(steps) else 0.0)
    plain, ratios = np.abs(values - middle), np.abs(np.log(values / middle))
    far = plain > SPREADS_APART * max(float(np.median(plain)), least)
    return far & (ratios > max(SPREADS_APART * float(np.median(ratios)), np.log(TIMES_APART)))


def _times(one: float, other: float) -> float:
    return max(one / other, other / one)
