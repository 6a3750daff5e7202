"""A study folder's contents as read, before its parts are compared, and whose door a problem is laid at."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.declared.problems import Problem, Severity
from analysis_lib.study.declared.settings import FILE, StudySettings, read_settings
from analysis_lib.study.tables.derived_outcomes import gas_columns
from analysis_lib.study.tables.rows import RIDERS, TRIALS, ZERO_CHECKS
from analysis_lib.study.tables.tables import read_table

Read = TypeVar("Read")


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
    set_aside : DataFrame
        The trials that cannot be used for a cell at fault, without that cell.
    """

    root: Path
    settings: StudySettings
    riders: pd.DataFrame
    trials: pd.DataFrame
    zero_checks: pd.DataFrame
    rider_ids: frozenset[str]
    trial_ids: frozenset[str]
    set_aside: pd.DataFrame

    @cached_property
    def ridden(self) -> pd.DataFrame:
        """The trials that are not excluded."""
        return self.trials[~self.trials["exclude"]]

    @cached_property
    def trial_rows(self) -> list[Any]:
        """The trials row by row."""
        return list(rows_of(self.trials))

    @cached_property
    def ridden_rows(self) -> list[Any]:
        """The trials that are not excluded, row by row."""
        return [trial for trial in self.trial_rows if not trial.exclude]

    @cached_property
    def bytes_of(self) -> dict[str, int]:
        """The size of every recording that trials.csv names and the folder holds."""
        paths = {file: self.root / file for file in sorted(set(self.trials["file"])) if file}
        return {file: path.stat().st_size for file, path in paths.items() if path.is_file()}

    def trials_by_rider(self) -> Iterator[tuple[Any, list[Any]]]:
        """Go through the riders with the rows of the trials each of them rode."""
        for rider in rows_of(self.riders):
            yield rider, self._ridden_by_rider.get(rider.rider, [])

    @cached_property
    def _ridden_by_rider(self) -> dict[str, list[Any]]:
        """Gathered once, so that a thousand riders do not each search the whole table."""
        found: dict[str, list[Any]] = {}
        for trial in self.ridden_rows:
            found.setdefault(trial.rider, []).append(trial)
        return found


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """Go through the rows of a table, each with its columns as attributes."""
    if frame.empty:
        return
    # A third of what itertuples takes.
    cells = [column.astype(object).tolist() for _, column in frame.items()]
    row = namedtuple("Row", ["Index", *map(str, frame.columns)], rename=True)  # type: ignore[misc]
    yield from map(row._make, zip(frame.index, *cells, strict=True))


def read_contents(root: Path) -> tuple[Contents, list[Problem]]:
    """Read study.toml and the tables of a study folder.

    Returns
    -------
    tuple of Contents and list of Problem
        What can be used, and the bad cells and unused columns of the tables.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be used, with all that is wrong at that level.
    """
    settings, faults = _try(lambda: read_settings(root / FILE))
    outcomes = tuple(part.name for part in settings.outcomes if part.source == "trials") if settings else ()
    outcomes += gas_columns(settings.outcomes) if settings else ()
    riders, rider_faults = _try(lambda: read_table(root, RIDERS))
    trials, trial_faults = _try(lambda: read_table(root, TRIALS, outcomes))
    zero_checks, zero_faults = _try(lambda: read_table(root, ZERO_CHECKS))
    if settings is None or riders is None or trials is None or zero_checks is None:
        raise Refusals([*faults, *rider_faults, *trial_faults, *zero_faults])
    contents = Contents(
        root,
        settings,
        riders.frame,
        trials.frame,
        zero_checks.frame,
        riders.listed_ids,
        trials.listed_ids,
        trials.set_aside,
    )
    return contents, [*riders.problems, *trials.problems, *zero_checks.problems]


def _try(read: Callable[[], Read]) -> tuple[Read | None, list[Refusal]]:
    """Read one part of the folder, so that the faults of all parts are told together."""
    try:
        return read(), []
    except Refusals as several:
        return None, several.refusals


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
