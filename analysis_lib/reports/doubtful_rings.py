"""A study in which some crank turned as on another ring than trials.csv says: what its page says of it."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.other_ring import of_another_ring, ring_doubts
from analysis_lib.reports.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect, ring_effect
from analysis_lib.statistics.equivalence import judge
from analysis_lib.study.protocol import Outcome


def effect_on_sure_rings(analysis: StudyAnalysis, outcome: Outcome) -> RingEffect | None:
    """Return the effect without the trials that turned as on another ring; None where there are none."""
    doubtful = analysis.trials.loc[of_another_ring(analysis.trials), "trial"]
    if doubtful.empty:
        return None
    table = analysis.outcome_table(outcome)
    sure = ~analysis.quantities.loc[table.index, "trial"].isin(doubtful)
    return ring_effect(table[sure], outcome.label, unit=outcome.difference_unit)


def other_ring(analysis: StudyAnalysis) -> list[str]:
    """Say before anything else whose crank turned as on the other ring: then the labels of rings are in doubt."""
    doubts = ring_doubts(analysis.trials)
    if not doubts:
        return []
    return [
        f"Not to be relied on as it stands: {doubts}. These trials count in what follows under the ring that the tables"
        " name, and where that is wrong, with the wrong sign."
    ]


def without_doubtful_rings(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Answer once more without those trials, where there are any."""
    try:
        effect = effect_on_sure_rings(analysis, outcome)
    except Refusal as refusal:
        return [f"Without these trials nothing can be said: {refusal}"]
    if effect is None:
        return []
    return [f"Without these trials: {judge(effect.overall, outcome.smallest_effect).sentence()}"]
