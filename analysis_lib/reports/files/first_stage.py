"""The first stage of a rider's page: every recording analysed by a task of its own, before the page is made.

A task leaves its result as one file in a folder of the report that only this page's kernel is told of. The file is named
by everything that the result follows from, so the page takes it only where it would compute the very same; what it does
not find it computes itself. The folder goes when the page is through.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_keys import StudyInputs, digest, source_digest
from analysis_lib.reports.files.run_record import package_versions, sha256_of
from analysis_lib.reports.files.whole_file import written_whole
from analysis_lib.signals.trial import TrialResult
from analysis_lib.signals.trial_file import read_trial, write_trial
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.settings import FILE as SETTINGS

VARIABLE = "ROUNDOVAL_FIRST_STAGE"
"""Tells a kernel where the stage of its page is, seen from the folder in which it starts."""

RESULT, TAKEN = ".npz", ".taken"


@dataclass(frozen=True)
class FirstStage:
    """The results of one page's recordings, as files of a folder."""

    folder: Path
    study: Study

    def fill(self, trial: str) -> bool:
        """Analyse a recording, leave its result here, and say whether there is one.

        A recording that refuses leaves none: the page meets the same refusal. Nor is anything left in a folder that is
        gone, because then the page is through or its run has ended.
        """
        try:
            place = self._place(trial)
            result = self.study.load_trial(trial)
        except Refusal:
            return False
        if not self.folder.is_dir():
            return False
        with written_whole(place) as stream:
            write_trial(stream, result)
        return True

    def load_trial(self, trial: str) -> TrialResult:
        """Return the result that lies here, or where none can be read, what `Study.load_trial` gives."""
        place = self._place(trial)
        try:
            with place.open("rb") as stream:
                result = read_trial(stream)
        except Exception:  # whatever is wrong with a file that only saves time: the recording itself is there
            return self.study.load_trial(trial)
        with contextlib.suppress(OSError):
            place.with_suffix(TAKEN).touch()
        return result

    def _place(self, trial: str) -> Path:
        """The file of a trial's result, named by what the result follows from."""
        parts = {
            "settings": sha256_of(self.study.root / SETTINGS),
            "library": source_digest(),
            "packages": package_versions(),
            "inputs": self._inputs.of_trial(trial),
        }
        return self.folder / f"{digest(parts)}{RESULT}"

    @cached_property
    def _inputs(self) -> StudyInputs:
        return StudyInputs(self.study)


def trial_loader(study: Study) -> Callable[[str], TrialResult]:
    """Return what loads a study's trials here: in a kernel with a first stage from there, else from the recordings."""
    folder = os.environ.get(VARIABLE)
    return FirstStage(Path(folder), study).load_trial if folder else study.load_trial


def count_taken(folder: Path) -> int:
    """Return how many results of a stage its page has taken."""
    return len(list(folder.glob(f"*{TAKEN}")))
