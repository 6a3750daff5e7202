"""A study in which some crank turned as on another ring than trials.csv says: what its page says of it."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.other_ring import OTHER_RING, of_another_ring
from analysis_lib.reports.rider_trials import NOT_USED
from analysis_lib.reports.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect, ring_effect
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.alike import MOST_NAMED
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
    used = analysis.trials[analysis.trials["state"] != NOT_USED]
    doubtful = of_another_ring(used)
    if not doubtful.any():
        return []
    by_rider = doubtful.groupby(used["rider"], sort=False).agg(["sum", "size"])
    whose = [f"{rider} in {some} of {all_}" for rider, some, all_ in by_rider.itertuples() if some]
    shown = ", ".join(whose[:MOST_NAMED]) + (", …" if len(whose) > MOST_NAMED else "")
    return [
        f"Not to be relied on as it stands: in {int(doubtful.sum())} of {show_count(len(used), 'trial')} the crank"
        f" {OTHER_RING}; {show_count(len(whose), 'rider')}: {shown}. These trials count in what follows under the ring"
        " that the tables name, and where that is wrong, with the wrong sign."
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
