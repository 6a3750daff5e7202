"""Problems of a recorder's rows, laid at the trials that they concern, so that they stop nobody else's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.rows import ZERO_CHECKS


def lay_at_trials(problems: list[Problem], trials: pd.DataFrame, settings: StudySettings) -> list[Problem]:
    """Return the problems, those of one recorder's zero checks and calibrations once a trial that they concern.

    A row of a known recorder concerns that recorder's trials: all of them, or, for a zero check whose time can be read,
    those near enough in time to have it as theirs. A row that concerns no trial is worth a note. Whose row it is cannot
    be known where the recorder's name is not one of study.toml: then it stops the study, as before.

    Parameters
    ----------
    problems : list of Problem
    trials : DataFrame
    settings : StudySettings
    """
    return [part for problem in problems for part in _laid(problem, trials, settings)]


def _laid(problem: Problem, trials: pd.DataFrame, settings: StudySettings) -> Iterator[Problem]:
    is_recorders = problem.scope == "study" and problem.recorder in settings.recorders
    if not is_recorders or problem.severity != "error":
        yield problem
        return
    concerned = trials[trials["recorder"] == problem.recorder]
    reach_h = settings.rules.zero_check_max_hours
    if (
        problem.moment is not None
        and problem.what.startswith(ZERO_CHECKS.file)
        and settings.rules.zero_model == "line"
    ):
        away_h = (concerned["started_at"] - problem.moment).abs().dt.total_seconds() / 3600
        concerned = concerned[(away_h <= reach_h) | concerned["started_at"].isna()]
    for trial in concerned.itertuples():
        yield replace(problem, scope="trial", rider=str(trial.rider), trial=str(trial.trial))
    if concerned.empty:
        yield replace(problem, severity="note")
