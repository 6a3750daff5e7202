"""A study in which some crank turned as on another ring than trials.csv says: what its page says of it."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study.effect_without import effect_without
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.other_ring import of_another_ring
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.equivalence import judge
from analysis_lib.study.declared.protocol import Outcome


def effect_on_sure_rings(analysis: StudyAnalysis, outcome: Outcome) -> RingEffect | None:
    """Return the effect without the trials that turned as on another ring; None where there are none."""
    doubtful = analysis.trials[of_another_ring(analysis.trials)]
    if doubtful.empty:
        return None
    table = analysis.outcome_table(outcome)
    return effect_without(table, analysis.quantities.loc[table.index, "trial"], doubtful, outcome)


def without_doubtful_rings(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Answer once more without those trials, where there are any."""
    try:
        effect = effect_on_sure_rings(analysis, outcome)
    except Refusal as refusal:
        return [f"Without these trials nothing can be said: {refusal}."]
    if effect is None:
        return []
    return [f"Without these trials: {judge(effect.overall, outcome.smallest_effect).sentence()}"]
