"""A study folder, opened: settings, tables, problems, and trials ready to be analysed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording, read_recording
from analysis_lib.signals.trial import TrialResult, analyse_trial
from analysis_lib.study.checks.consistency import find_problems
from analysis_lib.study.checks.recorder_problems import lay_at_trials
from analysis_lib.study.corrections.angle_zeros import read_angle_zeros
from analysis_lib.study.corrections.calibrations import read_calibrations
from analysis_lib.study.corrections.trial_correction import RecorderKnowledge, analyse_row
from analysis_lib.study.declared.problems import Problem, listed, suggest
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import read_contents, rows_of
from analysis_lib.study.tables.named_folder import check_study_folder
from analysis_lib.study.tables.package_check import check_package, check_recording


@dataclass(frozen=True)
class Study:
    """A study folder as found.

    Attributes
    ----------
    root : Path
    settings : StudySettings
        Of a recorder, uncertainties that study.toml leaves out are filled in where calibrations or slow turns tell.
    riders, zero_checks : DataFrame
        The rows that can be read, as in the files.
    trials : DataFrame
        The rows that can be read, with a column `usable`: not excluded, and without an error of the trial or
        its rider. `intensity` is an ordered category; absent text is "", an absent number NaN or <NA>,
        an unknown intensity NaN. The column `row` is the line of the file.
    problems : list of Problem
        Errors, cautions and notes, each with its scope.
    known : RecorderKnowledge
        Calibrations and slow turns of the recorders.
    set_aside : DataFrame
        The trials that cannot be used for a cell at fault, without that cell.
    """

    root: Path
    settings: StudySettings
    riders: pd.DataFrame
    trials: pd.DataFrame
    zero_checks: pd.DataFrame
    problems: list[Problem]
    known: RecorderKnowledge
    set_aside: pd.DataFrame

    @property
    def errors(self) -> list[Problem]:
        """The problems that stop something."""
        return [problem for problem in self.problems if problem.severity == "error"]

    @property
    def cautions(self) -> list[Problem]:
        """The problems that stop nothing and speak against something that is used."""
        return [problem for problem in self.problems if problem.severity == "caution"]

    @property
    def notes(self) -> list[Problem]:
        """The problems that stop nothing and are worth telling."""
        return [problem for problem in self.problems if problem.severity == "note"]

    @property
    def names(self) -> list[str]:
        """The trials, riders and recordings that messages can name."""
        trials = (self.trials, self.set_aside)
        return [*self.riders["rider"], *(name for part in trials for name in (*part["trial"], *part["file"]))]

    def comparing(self, ring: str) -> Study:
        """Return this study as one of two rings: the round one and the oval one named, and the trials on these.

        What is said of the round ring is the same in every such view. Sequences and periods keep their names.

        Parameters
        ----------
        ring : str
            An oval ring of study.toml; empty for the only one, which leaves the study as it is.

        Raises
        ------
        Refusal
            For a ring that is no oval ring of study.toml; for none named where there are several.
        """
        known = self.settings.oval_rings
        ring = ring or self.settings.ring_in_role("oval")
        if ring not in known:
            remedy = suggest(ring, known, "use an oval ring of study.toml")
            raise Refusal("ring", repr(ring), f"one of {listed(known)}", remedy)
        kept = [self.settings.ring_in_role("round"), ring]
        if set(kept) == set(self.settings.rings):
            return self
        rings = {name: part for name, part in self.settings.rings.items() if name in kept}
        strange = [name for name in self.settings.rings if name not in kept]
        return replace(
            self,
            settings=self.settings.model_copy(update={"rings": rings}),
            trials=self.trials[~self.trials["ring"].isin(strange)].reset_index(drop=True),
        )

    def without(self, mended: Callable[[Problem], bool]) -> Study:
        """Return this study as if some of its problems were mended, to see what else is wrong."""
        left = [problem for problem in self.problems if not mended(problem)]
        trials = _mark_usable(self.trials, left, self.settings.intensity_names)
        return replace(self, problems=left, trials=trials)

    def trials_of(self, rider: str) -> pd.DataFrame:
        """Return a rider's trials as in the file, also those that cannot be used.

        Raises
        ------
        Refusal
            For a rider who is not in riders.csv.
        """
        if rider not in self._trials_by_rider:
            known = list(self.riders["rider"])
            remedy = suggest(rider, known, "use a rider of riders.csv")
            raise Refusal("rider", repr(rider), f"one of {listed(known)}", remedy, "rider", rider)
        return self.trials.iloc[self._trials_by_rider[rider]].reset_index(drop=True)

    @cached_property
    def _trials_by_rider(self) -> dict[str, list[int]]:
        """Places of each rider's trials in their table; looked up once, not once a rider."""
        found: dict[str, list[int]] = {rider: [] for rider in self.riders["rider"]}
        for place, rider in enumerate(self.trials["rider"]):
            found.get(rider, []).append(place)
        return found

    def load_trial(self, trial: str) -> TrialResult:
        """Read a trial's recording, take its zero torque off, apply its calibration, cut its turns, analyse them.

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

    def read_trial(self, trial: str) -> Recording:
        """Read a trial's recording as it was written, its zero torque still in it."""
        return self._read(self._row_of(trial))

    def look_at(self, row: Any) -> None:
        """Read and cut the recording of a trial whose row is at fault, without the corrections, which may need that row.

        Raises
        ------
        Refusal
            What is wrong with the recording itself.
        """
        analyse_trial(self._read(row), rules=self.settings.rules.turn_rules())

    def _row_of(self, trial: str) -> Any:
        if trial not in self._row_by_trial:
            bad = [problem for problem in self.errors if problem.trial == trial]
            remedy = suggest(trial, self.trials["trial"], "use a trial of trials.csv")
            unknown = Refusal("trial", repr(trial), "a trial of trials.csv", remedy, "trial", trial=trial)
            raise bad[0] if bad else unknown
        return self._row_by_trial[trial]

    @cached_property
    def _row_by_trial(self) -> dict[str, Any]:
        """The rows of the trials; of a trial listed twice the first."""
        return {row.trial: row for row in reversed(list(rows_of(self.trials)))}

    def _analyse(self, row: Any) -> TrialResult:
        return analyse_row(row, self._read(row), self.settings, self.known)

    def _read(self, row: Any) -> Recording:
        recorder = self.settings.recorders[row.recorder].recorder_settings()
        check_recording(self.root, row.file)
        return read_recording(
            self.root / row.file, recorder, row.start_s, row.end_s, self._crank_length_m(row.rider)
        )

    def _crank_length_m(self, rider: str) -> float | None:
        """Length of a rider's crank; None where riders.csv does not tell."""
        return self._crank_lengths_m.get(rider)

    @cached_property
    def _crank_lengths_m(self) -> dict[str, float]:
        known = self.riders.dropna(subset="crank_length_mm").drop_duplicates("rider")
        return dict(zip(known["rider"], known["crank_length_mm"].astype(float) / 1000, strict=True))


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
    Refusal
        When there is no such folder.
    Refusals
        When study.toml or a whole table cannot be used, with all that is wrong at that level.
    """
    check_study_folder(Path(path))
    contents, problems = read_contents(Path(path))
    problems += [*find_problems(contents), *check_package(contents)]
    _, calibrations, calibration_problems = read_calibrations(contents.root, contents.settings)
    angle_zeros, angle_problems = read_angle_zeros(contents.root, contents.settings)
    problems = lay_at_trials(
        [*problems, *calibration_problems, *angle_problems], contents.trials, contents.settings
    )
    known = RecorderKnowledge(contents.zero_checks, calibrations, angle_zeros)
    trials = _mark_usable(contents.trials, problems, contents.settings.intensity_names)
    settings = known.inform(contents.settings)
    return Study(
        contents.root,
        settings,
        contents.riders,
        trials,
        contents.zero_checks,
        problems,
        known,
        contents.set_aside,
    )


def _mark_usable(trials: pd.DataFrame, problems: list[Problem], intensities: list[str]) -> pd.DataFrame:
    errors = [problem for problem in problems if problem.severity == "error"]
    stopped = trials["rider"].isin([problem.rider for problem in errors if problem.scope == "rider"])
    stopped |= trials["trial"].isin([problem.trial for problem in errors if problem.scope == "trial"])
    known = trials["intensity"].where(trials["intensity"].isin(intensities))
    order = pd.Categorical(known, intensities, ordered=True)
    return trials.assign(intensity=order, usable=~(stopped | trials["exclude"]))
