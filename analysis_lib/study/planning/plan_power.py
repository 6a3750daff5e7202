"""Power and number of riders of a planned study, by formula."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.sample_size import SampleSize, riders_for_difference, riders_for_equivalence
from analysis_lib.statistics.statistical_power import difference_power, equivalence_power
from analysis_lib.study.planning.plan import RingsPlan, StudyPlan

POWER_COLUMNS = ["test", "true_effect", "riders_needed", "recruit", "power_all_ride", "power_some_stop"]
PAIRED, ADJUSTED, EQUIVALENCE = "paired t", "t adjusted for sequence", "two one-sided t"
ALL_RINGS = "t, one oval ring against round, all rings allowed for"
MOST_SHOWN = 500


def power_table(plan: StudyPlan) -> pd.DataFrame:
    """Riders needed and power reached by formula, one row a test.

    Returns
    -------
    DataFrame
        test, true_effect, riders_needed, recruit (more, for those who stop), power_all_ride (all planned riders
        finish) and power_some_stop (as many finish as are expected to). riders_needed is <NA> where no number of
        riders is enough. Equivalence is asked for no effect at all and for half of what matters.
    """
    rows = _rows_of_rings(plan) if isinstance(plan, RingsPlan) else _rows_of_two_rings(plan)
    return pd.DataFrame(rows, columns=POWER_COLUMNS).astype({"riders_needed": "Int64", "recruit": "Int64"})


def power_curve(plan: StudyPlan) -> pd.DataFrame:
    """Power against riders recruited: riders, formula (none stop), simulated (some stop) and its se."""
    planned = len(plan.riders)
    needed = [int(count) for count in power_table(plan)["recruit"].dropna()]
    most = min(max([2 * planned, *needed]), 4 * planned)
    numbers = [int(n) for n in np.unique(np.linspace(2 * plan.sequences, most, 9).round())]
    effect = plan.smallest_effect
    simulated = [plan.simulate(effect, n) for n in numbers]
    return pd.DataFrame(
        {
            "riders": numbers,
            "formula": [plan.power_for(effect, n) for n in numbers],
            "simulated": [found.power for found in simulated],
            "se": [found.power_se for found in simulated],
        }
    )


def sizes_by_spread(plan: StudyPlan) -> pd.DataFrame:
    """Riders needed by the SD within a rider, half to twice the planned one.

    Returns
    -------
    DataFrame
        within_rider_sd, difference (to find the smallest effect that matters), equivalence (to show, where there
        is none, that there is none as large); NaN where more than 500 are needed. The SD between riders of the
        true effect grows and shrinks with it.
    """
    wanted, matters = plan.settings.planned, plan.smallest_effect
    rows = []
    for factor in np.linspace(0.5, 2, 13):
        sd = float(factor * plan.contrast_sd)
        both = (
            _or_none(partial(plan.riders_to_find, matters, sd)),
            _or_none(partial(plan.riders_to_exclude, 0.0, sd)),
        )
        counts = [math.nan if n is None or n > MOST_SHOWN else n for n, _ in both]
        rows.append((factor * wanted.within_rider_sd, *counts))
    return pd.DataFrame(rows, columns=["within_rider_sd", "difference", "equivalence"])


def _rows_of_two_rings(plan: StudyPlan) -> list[tuple]:
    return [
        _difference_row(plan, PAIRED, 1),
        _difference_row(plan, ADJUSTED, plan.sequences),
        _equivalence_row(plan, 0.0),
        _equivalence_row(plan, plan.smallest_effect / 2),
    ]


def _rows_of_rings(plan: RingsPlan) -> list[tuple]:
    """One oval ring against round, all rings allowed for: to find what matters, and to show that nothing does."""
    effect, dropout = plan.smallest_effect, plan.settings.planned.dropout
    size = _or_none(partial(plan.riders_to_find, effect, dropout=dropout))
    rows = [(ALL_RINGS, effect, *size, *(plan.power_for(effect, n) for n in _numbers(plan)))]
    for true in (0.0, effect / 2):
        size = _or_none(partial(plan.riders_to_exclude, true, dropout=dropout))
        powers = [plan.equivalence_power_for(true, n) for n in _numbers(plan)]
        rows.append((EQUIVALENCE, true, *size, *powers))
    return rows


def _difference_row(plan: StudyPlan, test: str, sequences: int) -> tuple:
    wanted, effect, sd = plan.settings.planned, plan.smallest_effect, plan.contrast_sd
    arguments = effect, sd, wanted.power, sequences, wanted.alpha
    size = _or_none(partial(riders_for_difference, *arguments, dropout=wanted.dropout))
    powers = [difference_power(effect, sd, n, sequences, wanted.alpha) for n in _numbers(plan)]
    return (test, effect, *size, *powers)


def _equivalence_row(plan: StudyPlan, true_effect: float) -> tuple:
    wanted, bound, sd = plan.settings.planned, plan.smallest_effect, plan.contrast_sd
    test = true_effect, -bound, bound, sd
    size = _or_none(
        partial(riders_for_equivalence, *test, wanted.power, plan.sequences, wanted.alpha, wanted.dropout)
    )
    powers = [equivalence_power(*test, n, plan.sequences, wanted.alpha) for n in _numbers(plan)]
    return (EQUIVALENCE, true_effect, *size, *powers)


def _numbers(plan: StudyPlan) -> tuple[int, int]:
    return len(plan.riders), plan.finishing


def _or_none(find: Callable[[], SampleSize]) -> tuple[int | None, int | None]:
    """Find riders needed and to recruit; nothing where no number that anybody could recruit is enough."""
    try:
        size = find()
    except Refusal:
        return None, None
    return size.riders, size.recruit
