"""A report made once and looked at by several tests, whichever worker runs them."""

from __future__ import annotations

import fcntl
import json
import os
import pickle
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis_lib.reports.files.run_record import checksums
from analysis_lib.reports.running.runner import Report, make_report


@dataclass(frozen=True)
class MadeReport:
    """A report beside its study and what the study's files were before."""

    study: Path
    report: Report
    before: dict[str, str]
    said: tuple[str, ...]

    @classmethod
    def of(cls, study: Path, out: Path, jobs: int = 2) -> MadeReport:
        """Make a study's report."""
        before, said = checksums(study), []
        report = make_report(study, out, jobs=jobs, say=said.append)
        return cls(study, report, before, tuple(said))

    @property
    def folder(self) -> Path:
        """The report's folder."""
        return self.report.folder

    def text(self, page: str) -> str:
        """A page's HTML."""
        return (self.folder / page).read_text(encoding="utf-8")

    def again(self, out: Path, *options: str) -> list[str]:
        """The command that makes this report once more, in another folder."""
        words = ["-m", "analysis_lib", "report", str(self.study), "--out", str(out)]
        return [sys.executable, *words, *options]

    def record(self) -> dict:
        """The record of the run."""
        return json.loads((self.folder / "run.json").read_text())


def made_once(tmp_path_factory, name: str, make: Callable):
    """What `make` gives in a folder that all workers see: the first to ask makes it, the others wait and read it."""
    place = tmp_path_factory.getbasetemp()
    root = (place.parent if "PYTEST_XDIST_WORKER" in os.environ else place) / name
    root.mkdir(exist_ok=True)
    with (root / "made.pickle").open("a+b") as made:
        fcntl.flock(made, fcntl.LOCK_EX)
        if made.seek(0, os.SEEK_END) == 0:
            made.write(pickle.dumps(make(root)))
        made.seek(0)
        return pickle.load(made)
