"""A study folder, opened: settings, tables, problems, and trials ready to be analysed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.signals.recording import read_recording
from analysis_lib.signals.trial import TrialResult, analyse_trial
from analysis_lib.signals.zero_torque import zero_line
from analysis_lib.study.consistency import find_problems
from analysis_lib.study.contents import Contents
from analysis_lib.study.datapackage import check_package
from analysis_lib.study.problems import Problem, listed, suggest
from analysis_lib.study.rows import RIDERS, TRIALS, ZERO_CHECKS
from analysis_lib.study.settings import FILE, StudySettings, read_settings
from analysis_lib.study.tables import read_table
from analysis_lib.study.zero_lookup import checks_around

Read = TypeVar("Read")


@dataclass(frozen=True)
class Study:
    """A study folder as found.

    Attributes
    ----------
    root : Path
    settings : StudySettings
    riders, zero_checks : DataFrame
        The rows that can be read, as in the files.
    trials : DataFrame
        The rows that can be read, with a column `usable`: not excluded, and without an error of the trial or
        its rider. `intensity` is an ordered category; absent text is "", an absent number NaN or <NA>,
        an unknown intensity NaN. The column `row` is the line of the file.
    problems : list of Problem
        Errors and notes, each with its scope.
    """

    root: Path
    settings: StudySettings
    riders: pd.DataFrame
    trials: pd.DataFrame
    zero_checks: pd.DataFrame
    problems: list[Problem]

    @property
    def errors(self) -> list[Problem]:
        """The problems that stop something."""
        return [problem for problem in self.problems if problem.severity == "error"]

    @property
    def notes(self) -> list[Problem]:
        """The problems that stop nothing."""
        return [problem for problem in self.problems if problem.severity == "note"]

    def trials_of(self, rider: str) -> pd.DataFrame:
        """Return a rider's trials as in the file, also those that cannot be used.

        Raises
        ------
        Refusal
            For a rider who is not in riders.csv.
        """
        known = list(self.riders["rider"])
        if rider not in known:
            remedy = suggest(rider, known, "use a rider of riders.csv")
            raise Refusal("rider", repr(rider), f"one of {listed(known)}", remedy, "rider", rider)
        return self.trials[self.trials["rider"] == rider].reset_index(drop=True)

    def load_trial(self, trial: str) -> TrialResult:
        """Read a trial's recording, take its zero torque off, cut its turns and analyse them.

        The zero torque comes from the nearest zero checks before and after the trial on its recorder, within
        `zero_check_max_hours`. An excluded trial can be loaded too; whether it counts is not decided here.

        Raises
        ------
        Refusal
            The first error of the trial or its rider, or what the recording cannot give.
        """
        row = self._row_of(trial)
        for problem in self.errors:
            is_riders = problem.scope == "rider" and problem.rider == row.rider
            if is_riders or (problem.scope == "trial" and problem.trial == trial):
                raise problem
        try:
            return self._analyse(row)
        except Refusal as refusal:
            refusal.scope, refusal.rider, refusal.trial = "trial", row.rider, trial
            raise

    def _row_of(self, trial: str) -> Any:
        rows = self.trials[self.trials["trial"] == trial]
        if rows.empty:
            bad = [problem for problem in self.errors if problem.trial == trial]
            remedy = suggest(trial, self.trials["trial"], "use a trial of trials.csv")
            unknown = Refusal("trial", repr(trial), "a trial of trials.csv", remedy, "trial", trial=trial)
            raise bad[0] if bad else unknown
        return next(rows.itertuples())

    def _analyse(self, row: Any) -> TrialResult:
        recorder = self.settings.recorders[row.recorder].recorder_settings()
        recording = read_recording(self.root / row.file, recorder, row.start_s, row.end_s)
        start_s = float(recording.time_s[0])
        checks = checks_around(self.settings, self.zero_checks, row, start_s)
        line = zero_line(checks.before, checks.after, recording.duration_s, start_s)
        return analyse_trial(recording, line, self.settings.rules.turn_rules())


def open_study(path: Path | str) -> Study:
    """Open a study folder and find everything that is wrong with it.

    Parameters
    ----------
    path : Path or str
        Folder that holds study.toml.

    Returns
    -------
    Study
        With every problem of single cells, trials and riders in `problems`: those stop nobody else.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be used, with all that is wrong at that level.
    """
    root = Path(path)
    settings, faults = _try(lambda: read_settings(root / FILE))
    outcomes = tuple(part.name for part in settings.outcomes if part.source == "trials") if settings else ()
    riders, rider_faults = _try(lambda: read_table(root, RIDERS))
    trials, trial_faults = _try(lambda: read_table(root, TRIALS, outcomes))
    zero_checks, zero_faults = _try(lambda: read_table(root, ZERO_CHECKS))
    faults = faults + rider_faults + trial_faults + zero_faults
    if settings is None or riders is None or trials is None or zero_checks is None:
        raise Refusals(faults)
    contents = Contents(
        root, settings, riders.frame, trials.frame, zero_checks.frame, riders.listed_ids, trials.listed_ids
    )
    problems = [*riders.problems, *trials.problems, *zero_checks.problems]
    problems += [*find_problems(contents), *check_package(contents)]
    marked = _mark_usable(contents.trials, problems, settings.intensity_names)
    return Study(root, settings, riders.frame, marked, zero_checks.frame, problems)


def _try(read: Callable[[], Read]) -> tuple[Read | None, list[Refusal]]:
    """Read one part of the folder, so that the faults of all parts are told together."""
    try:
        return read(), []
    except Refusals as several:
        return None, several.refusals


def _mark_usable(trials: pd.DataFrame, problems: list[Problem], intensities: list[str]) -> pd.DataFrame:
    errors = [problem for problem in problems if problem.severity == "error"]
    stopped = trials["rider"].isin([problem.rider for problem in errors if problem.scope == "rider"])
    stopped |= trials["trial"].isin([problem.trial for problem in errors if problem.scope == "trial"])
    known = trials["intensity"].where(trials["intensity"].isin(intensities))
    order = pd.Categorical(known, intensities, ordered=True)
    return trials.assign(intensity=order, usable=~(stopped | trials["exclude"]))
