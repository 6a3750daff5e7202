"""A bad row of a recorder's tables stops that recorder's trials, and nobody else's."""

from pathlib import Path

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.checks.zero_values import check_zero_values
from analysis_lib.study.tables.contents import read_contents

DEMO = Path(__file__).resolve().parents[2] / "data_synthetic" / "lantern_hill"

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


def test_a_zero_torque_in_another_unit_stops_the_trials_near_it_by_row_and_column(two_recorders):
    """0.7 N·m are 700 mN·m, and 0.05 N·m, the least of its column, 50 mN·m: far less than any torque of riding."""
    two_recorders.replace("zero_checks.csv", "20.0,,,0.7,warm", "20.0,,,700,warm")
    two_recorders.replace("zero_checks.csv", "18.0,,,0.5,", "18.0,,,-50,")
    study = open_study(two_recorders.root)
    assert stopped(study) == {"T1", "T2", "T3", "T4"} and not study.cautions
    assert study.load_trial("T5").value("power_W") > 0
    first, second = dict.fromkeys(map(str, study.errors))
    assert first.startswith(
        "zero_checks.csv, row 2, column zero_total_Nm – got -50 N·m – wanted at most 20 N·m"
    )
    assert second.startswith("zero_checks.csv, row 3, column zero_total_Nm – got 700 N·m")
    assert "write it in N·m" in first and "1000 mN·m, 8.85 lbf·in or 10.2 kgf·cm" in first


def test_a_zero_beyond_the_full_scale_is_an_error_and_another_large_one_a_caution(tiny):
    tiny.replace("zero_checks.csv", "20.0,,,0.7,warm", "20.0,,,250,warm")
    study = open_study(tiny.root)
    (caution,) = study.cautions
    assert not study.errors and "row 3, column zero_total_Nm – got 250 N·m" in str(caution)
    tiny.replace("study.toml", 'kind = "csv"', 'kind = "csv"\nfull_scale_Nm = 200.0')
    study = open_study(tiny.root)
    assert stopped(study) == {"T1", "T2", "T3", "T4"} and not study.cautions
    assert "the recorder's full scale is 200 N·m" in str(study.errors[0])


def list_zeros(tiny, zeros):
    rows = [f"crank,2026-03-{2 + day:02d}T08:55:00,20.0,,,{zero:.3f}," for day, zero in enumerate(zeros)]
    head = (tiny.root / "zero_checks.csv").read_text().splitlines()[0]
    (tiny.root / "zero_checks.csv").write_text("\n".join([head, *rows]) + "\n")
    return list(check_zero_values(read_contents(tiny.root)[0]))


def test_a_zero_far_from_all_others_of_its_channel_is_a_caution_that_names_its_row(tiny):
    """Zeros of order 0.5 N·m, and 8 N·m added to two of nine; the median of these nine is 0.4 N·m."""
    said = list_zeros(tiny, [0.1, 0.4, 8.3, -0.6, 7.6, 0.5, 0.4, -0.2, 0.2])
    assert [(problem.severity, problem.scope, problem.recorder) for problem in said] == [
        ("caution", "study", "crank")
    ] * 2
    for problem, row, zero in zip(said, (4, 6), ("8.3", "7.6"), strict=True):
        assert str(problem).startswith(f"zero_checks.csv, row {row}, column zero_total_Nm – got {zero} N·m,")
        assert "have a median of 0.4 N·m – wanted at most 5 N·m from it" in str(problem)


@pytest.mark.parametrize(
    "zeros",
    [
        0.1 * np.linspace(-12, 13, 20),  # 25 degrees at 0.1 N·m a degree
        [0.2] * 19 + [5.1],  # no scatter at all, and one that drifted by 4.9 N·m
        np.linspace(-12, 12, 24),  # a recorder that is trimmed by hand: its own scatter is the measure
        [0.5, 0.4, 9.0, 0.6],  # too few to tell which is usual
    ],
    ids=["drift with temperature", "no scatter", "wide scatter", "few"],
)
def test_honest_zeros_are_under_no_caution(tiny, zeros):
    assert list_zeros(tiny, zeros) == []


def test_the_zeros_of_the_demo_are_under_no_caution():
    assert list(check_zero_values(read_contents(DEMO)[0])) == []
