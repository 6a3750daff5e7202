"""Reports made once and looked at by several tests."""

from pathlib import Path

import pandas as pd
import pytest
from edits import edit_table
from made_report import MadeReport, made_once

from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="session")
def damaged_report(tmp_path_factory):
    """Four riders: R01 is well, R02 lacks a file, R03 has an unknown sequence, R04 a truncated recording."""
    return made_once(tmp_path_factory, "damaged", _damaged)


def _damaged(root: Path) -> MadeReport:
    study = root / "study"
    small_study(study, riders=4, duration_s=8.0)
    trials = pd.read_csv(study / "trials.csv", dtype=str).set_index("trial")
    (study / trials.loc["R02-P1-easy", "file"]).unlink()
    broken = study / trials.loc["R04-P1-easy", "file"]
    broken.write_bytes(broken.read_bytes()[:200])
    edit_table(
        study,
        "riders.csv",
        lambda frame: frame.assign(sequence=frame["sequence"].mask(frame["rider"] == "R03", "RRRR")),
    )
    return MadeReport.of(study, root / "report")


@pytest.fixture(scope="session")
def one_trial_report(tmp_path_factory):
    """A study of one rider, one ring and one trial, its pages made one after another."""
    return made_once(tmp_path_factory, "single", _one_trial)


def _one_trial(root: Path) -> MadeReport:
    study = root / "study"
    small_study(study, riders=1, duration_s=30.0)
    edit_table(study, "trials.csv", lambda frame: frame[frame["ring"] == "round"].head(1))
    kept = pd.read_csv(study / "trials.csv", dtype=str)["file"].iloc[0]
    for recording in (study / "recordings").iterdir():
        if recording.name != Path(kept).name:
            recording.unlink()
    return MadeReport.of(study, root / "first", jobs=1)
