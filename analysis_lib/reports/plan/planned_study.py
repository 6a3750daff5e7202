"""A study seen from before it: its own plan, or one tried out where it has none."""

from __future__ import annotations

from dataclasses import dataclass

from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import Plan
from analysis_lib.study.planning.plan import StudyPlan, plan_study
from analysis_lib.study.planning.protocol_deviations import Deviation, compare_with_protocol

TRIED_WASHOUT_HOURS = 48.0
TRIED_SOURCE = "a number tried out, without any source"


@dataclass(frozen=True)
class PlannedStudy:
    """A study with a plan.

    Attributes
    ----------
    study : Study
    plan : StudyPlan
    is_tried : bool
        Whether study.toml has no plan and this one was only tried out.
    """

    study: Study
    plan: StudyPlan
    is_tried: bool

    @property
    def deviations(self) -> list[Deviation]:
        """Where the study left its frozen protocol."""
        return compare_with_protocol(self.study)


def open_planned_study(
    study_dir: str, try_riders: int, try_within_rider_sd: float, try_dropout: float
) -> PlannedStudy:
    """Open a study's plan; the numbers to try out are used only where study.toml has no plan.

    Parameters
    ----------
    study_dir : str
        The study folder; empty for the demo study.
    try_riders : int
        Riders to recruit.
    try_within_rider_sd : float
        SD of the primary outcome within a rider, in its unit.
    try_dropout : float
        Share of riders expected to stop early.

    Raises
    ------
    Refusal, Refusals
        What `open_study` and `plan_study` refuse.
    """
    study = study_at(study_dir)
    settings, is_tried = study.settings, study.settings.plan is None
    listed: tuple[str, ...] = () if is_tried else tuple(str(rider) for rider in study.riders["rider"])
    if is_tried:
        tried = Plan(
            riders=try_riders,
            within_rider_sd=float(try_within_rider_sd),
            within_rider_sd_source=TRIED_SOURCE,
            dropout=float(try_dropout),
            washout_hours=TRIED_WASHOUT_HOURS,
            allocation_seed=settings.study.seed,
        )
        settings = settings.model_copy(update={"plan": tried})
    return PlannedStudy(study, plan_study(settings, listed), is_tried)
