"""A bad row of a recorder's tables stops that recorder's trials, and nobody else's."""

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.folder import open_study

SECOND = """
[recorders.pedals]
kind = "csv"
crank_side = "right"
columns.time_s = { column = "t", unit = "s" }
columns.crank_deg = { column = "angle", unit = "deg" }
columns.torque_Nm = { column = "torque", unit = "N m" }
"""


@pytest.fixture
def two_recorders(tiny):
    """Rider R02 rode with the recorder `pedals`."""
    path = tiny.root / "study.toml"
    path.write_text(path.read_text() + SECOND)
    for table in ("trials.csv", "zero_checks.csv"):
        rows = (tiny.root / table).read_text().splitlines()
        mine = [row.replace("crank", "pedals", 1) if "2026-03-03" in row else row for row in rows]
        (tiny.root / table).write_text("\n".join(mine) + "\n")
    return tiny


def stopped(study):
    return {problem.trial for problem in study.errors if problem.scope == "trial"}


def test_a_bad_zero_check_stops_the_trials_that_could_have_it_as_theirs(two_recorders):
    two_recorders.replace("zero_checks.csv", "20.0,,,0.7,warm", "20.0,,,seven,warm")
    study = open_study(two_recorders.root)
    assert {problem.scope for problem in study.errors} == {"trial"}
    assert stopped(study) == {"T1", "T2", "T3", "T4"}
    assert study.load_trial("T5").value("power_W") > 0
    with pytest.raises(Refusal, match="zero_total_Nm"):
        study.load_trial("T1")


def test_a_bad_time_concerns_every_trial_of_the_recorder(two_recorders):
    two_recorders.replace("zero_checks.csv", "2026-03-02T09:45:00", "noonish")
    assert stopped(open_study(two_recorders.root)) == {"T1", "T2", "T3", "T4"}


def test_a_recorder_with_trials_on_two_days_loses_one_day_alone(tiny):
    tiny.replace("zero_checks.csv", "20.0,,,0.7,warm", "20.0,,,seven,warm")
    assert stopped(open_study(tiny.root)) == {"T1", "T2", "T3", "T4"}


def test_a_bad_calibration_stops_its_recorder_alone(two_recorders):
    (two_recorders.root / "calibrations.csv").write_text(
        "recorder,calibrated_at,channel,crank_deg,mass_kg,arm_mm,reading_Nm,note\n"
        "pedals,2026-03-01T10:00:00,total,90,0,170,0.4,\npedals,2026-03-01T10:00:00,total,90,5,170,8.7,\n"
    )
    study = open_study(two_recorders.root)
    assert "study" not in {problem.scope for problem in study.errors}
    assert {"T5", "T6", "T7"} <= stopped(study) and "T1" not in stopped(study)
    assert study.load_trial("T1").value("power_W") > 0


def test_a_row_of_nobody_known_stops_the_study(two_recorders):
    two_recorders.replace(
        "zero_checks.csv", "crank,2026-03-02T09:45:00,20.0,,,0.7", "krank,2026-03-02T09:45:00,20.0,,,x"
    )
    assert "study" in {problem.scope for problem in open_study(two_recorders.root).errors}


def test_a_bad_check_that_no_trial_needs_is_a_note(two_recorders):
    two_recorders.replace("zero_checks.csv", "2026-03-02T09:45:00,20.0,,,0.7", "2026-05-02T09:45:00,20.0,,,x")
    study = open_study(two_recorders.root)
    assert not study.errors
    assert [note for note in study.notes if "zero_total_Nm" in note.what]
