"""From a study's settings to its plan: of two rings, or of several."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.declared.protocol import Plan
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.planning.allocation_list import name_riders
from analysis_lib.study.planning.missing_plan import ask_for_plan
from analysis_lib.study.planning.rings_plan import RingsPlan
from analysis_lib.study.planning.study_plan import STUDIES, StudyPlan

HOURS_OF_A_VISIT = 24
"""A visit is over within a day."""

__all__ = ["STUDIES", "RingsPlan", "StudyPlan", "plan_study"]


def plan_study(settings: StudySettings, listed: tuple[str, ...] = ()) -> StudyPlan:
    """Plan a study from its settings.

    Parameters
    ----------
    settings : StudySettings
        With a plan.
    listed : tuple of str
        Riders that riders.csv names already; they come first.

    Raises
    ------
    Refusal
        No plan; a rest that does not fit between the periods of one visit; more riders listed than planned; no more
        riders expected to finish than there are sequences; a sequence without both rings; a block that is not a
        multiple of the sequences. With several oval rings what `RingsPlan.check` refuses, and as many riders as there
        are sequences are enough.
    """
    if settings.plan is None:
        raise ask_for_plan(settings)
    wanted = settings.plan
    _check_rest(wanted)
    riders = tuple(name_riders(wanted.riders, listed))
    if len(settings.oval_rings) > 1:
        several = RingsPlan(settings, riders)
        several.check()
        return several
    plan = StudyPlan(settings, riders)
    if plan.finishing <= plan.sequences:
        raise Refusal(
            "study.toml, plan.riders",
            f"{wanted.riders}, of whom {plan.finishing} are expected to finish",
            f"more than {show_count(plan.sequences, 'sequence')}",
            "recruit more riders",
        )
    return plan


def _check_rest(plan: Plan) -> None:
    """Refuse several periods in one visit with a rest between them that no visit holds."""
    if plan.periods_a_visit > 1 and plan.washout_hours >= HOURS_OF_A_VISIT:
        raise Refusal(
            "study.toml, plan.washout_hours",
            f"{plan.washout_hours:g} h with {plan.periods_a_visit} periods a visit",
            f"less than {HOURS_OF_A_VISIT} h, so that one visit holds both periods",
            "write periods_a_visit = 1, or the rest that the periods of one visit really keep",
        )
