"""The riders of a study and the study, analysed without pages."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.reports.rider.rider_analysis import RiderAnalysis, analyse_rider
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.study.checks.folder import open_study


def gathered(folder: Path) -> tuple[dict[str, RiderAnalysis], StudyAnalysis]:
    """Analyse every rider of a study, and the study from their tables."""
    study = open_study(folder)
    riders = {rider: analyse_rider(study, rider) for rider in study.riders["rider"]}
    return riders, StudyAnalysis(study, {rider: found.tables for rider, found in riders.items()}, {})
