"""Reports made once and looked at by several tests."""

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest
from edits import edit_table

from analysis_lib.reports.run_record import checksums
from analysis_lib.reports.runner import Report, make_report
from analysis_lib.study.synthetic import small_study


@dataclass(frozen=True)
class MadeReport:
    """A report beside its study and what the study's files were before."""

    study: Path
    report: Report
    before: dict[str, str]
    said: tuple[str, ...]

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


def _report(study: Path, out: Path, jobs: int = 2) -> MadeReport:
    before, said = checksums(study), []
    report = make_report(study, out, jobs=jobs, say=said.append)
    return MadeReport(study, report, before, tuple(said))


@pytest.fixture(scope="session")
def damaged_report(tmp_path_factory):
    """Five riders: R02 lacks a file, R03 has an unknown sequence, R04 a truncated recording, R01 and R05 are well."""
    root = tmp_path_factory.mktemp("damaged")
    study = root / "study"
    small_study(study, riders=5, duration_s=8.0)
    trials = pd.read_csv(study / "trials.csv", dtype=str).set_index("trial")
    (study / trials.loc["R02-P1-easy", "file"]).unlink()
    broken = study / trials.loc["R04-P1-easy", "file"]
    broken.write_bytes(broken.read_bytes()[:200])
    edit_table(
        study,
        "riders.csv",
        lambda frame: frame.assign(sequence=frame["sequence"].mask(frame["rider"] == "R03", "RRRR")),
    )
    return _report(study, root / "report")


@pytest.fixture(scope="session")
def one_trial_reports(tmp_path_factory):
    """The same study of one rider, one ring and one trial, reported twice with other numbers of jobs."""
    root = tmp_path_factory.mktemp("single")
    study = root / "study"
    small_study(study, riders=1, duration_s=30.0)
    edit_table(study, "trials.csv", lambda frame: frame[frame["ring"] == "round"].head(1))
    kept = pd.read_csv(study / "trials.csv", dtype=str)["file"].iloc[0]
    for recording in (study / "recordings").iterdir():
        if recording.name != Path(kept).name:
            recording.unlink()
    return _report(study, root / "first", jobs=1), _report(study, root / "second", jobs=2)
