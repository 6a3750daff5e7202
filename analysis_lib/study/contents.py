"""A study folder's contents as read, before its parts are compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.study.problems import Problem, Severity
from analysis_lib.study.settings import StudySettings


@dataclass(frozen=True)
class Contents:
    """What study.toml and the tables say.

    Attributes
    ----------
    root : Path
    settings : StudySettings
    riders, trials, zero_checks : DataFrame
        The rows that can be used.
    rider_ids, trial_ids : frozenset of str
        All ids listed, also in rows that cannot be used.
    """

    root: Path
    settings: StudySettings
    riders: pd.DataFrame
    trials: pd.DataFrame
    zero_checks: pd.DataFrame
    rider_ids: frozenset[str]
    trial_ids: frozenset[str]

    @property
    def ridden(self) -> pd.DataFrame:
        """The trials that are not excluded."""
        return self.trials[~self.trials["exclude"]]

    def trials_by_rider(self) -> Iterator[tuple[Any, pd.DataFrame]]:
        """Go through the riders with the trials each of them rode."""
        for rider in self.riders.itertuples():
            yield rider, self.ridden[self.ridden["rider"] == rider.rider]


def about_trial(
    trial: Any, column: str, got: str, wanted: str, remedy: str, severity: Severity = "error"
) -> Problem:
    """Lay a problem at a trial's door; `trial` is a row of trials.csv."""
    place = f"trials.csv, row {trial.row} ({trial.trial}), column {column}"
    return Problem(place, got, wanted, remedy, "trial", trial.rider, trial.trial, severity)


def about_rider(
    rider: Any, column: str, got: str, wanted: str, remedy: str, severity: Severity = "error"
) -> Problem:
    """Lay a problem at a rider's door; `rider` is a row of riders.csv."""
    place = f"riders.csv, row {rider.row} ({rider.rider}), column {column}"
    return Problem(place, got, wanted, remedy, "rider", rider.rider, "", severity)


def about_study(what: str, got: str, wanted: str, remedy: str, severity: Severity = "error") -> Problem:
    """Lay a problem at the study's door."""
    return Problem(what, got, wanted, remedy, severity=severity)
