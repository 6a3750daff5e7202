"""A trial of a study folder on its way through the signals room."""

from __future__ import annotations

import math

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study

SPEED_RAD_S = math.radians(7.31 * 50)  # 7.31 degrees in each fiftieth of a second: 60.917 rpm


def test_a_trial_loses_the_zero_torque_of_the_checks_around_it(tiny):
    result = open_study(tiny.root).load_trial("T1")
    # Checks 300 s before and 2700 s after the start show 0.5 and 0.7 N m; in the middle of the trial, at 5 s,
    # the line between them stands at 0.5 + 0.2 x 305/3000. Power is mean torque x speed.
    expected = (20.5 - (0.5 + 0.2 * 305 / 3000)) * SPEED_RAD_S
    assert result.value("power_W") == pytest.approx(expected, rel=1e-4)
    assert result.value("cadence_rpm") == pytest.approx(60.9167, abs=1e-3)
    assert result.value("torque_phase_deg") == pytest.approx(100, abs=0.05)
    assert result.quality["zero_drift_total_Nm"] == pytest.approx(0.2, rel=1e-9)


def test_only_the_stated_part_of_a_recording_is_analysed(tiny):
    whole = open_study(tiny.root).load_trial("T1")
    part = open_study(tiny.root).load_trial("T2")  # from 1 to 9.5 s
    assert whole.quality["duration_s"] == pytest.approx(10.0)
    assert part.quality["duration_s"] == pytest.approx(8.5)


def test_a_check_on_one_side_is_said(tiny):
    tiny.replace("zero_checks.csv", "crank,2026-03-02T09:45:00,20.0,,,0.7,warm\n", "")
    result = open_study(tiny.root).load_trial("T1")
    assert result.value("power_W") == pytest.approx((20.5 - 0.5) * SPEED_RAD_S, rel=1e-4)
    assert any("only before" in sentence for sentence in result.assumptions)


def test_the_nearest_checks_count(tiny):
    tiny.replace(
        "zero_checks.csv",
        "crank,2026-03-02T09:45",
        "crank,2026-03-02T08:00:00,20,,,9,\ncrank,2026-03-02T09:45",
    )
    tiny.replace(
        "zero_checks.csv",
        "crank,2026-03-02T09:45",
        "crank,2026-03-02T11:00:00,20,,,9,\ncrank,2026-03-02T09:45",
    )
    assert open_study(tiny.root).load_trial("T1").quality["zero_drift_total_Nm"] == pytest.approx(
        0.2, rel=1e-9
    )


def test_rules_of_the_study_reach_the_turns(tiny):
    tiny.replace("study.toml", "[recorders.crank]", "[rules]\ncadence_min_rpm = 70.0\n[recorders.crank]")
    with pytest.raises(Refusal, match="cadence out of band") as caught:
        open_study(tiny.root).load_trial("T1")
    assert (caught.value.scope, caught.value.rider, caught.value.trial) == ("trial", "R01", "T1")


def test_a_trial_with_an_error_is_not_loaded_and_the_others_are(tiny):
    tiny.replace("trials.csv", "2,oval,75,easy", "2,oval,80,easy")
    study = open_study(tiny.root)
    with pytest.raises(Refusal, match="one of 60, 75"):
        study.load_trial("T3")
    assert study.load_trial("T4").value("power_W") > 100


def test_no_trial_of_a_stopped_rider_is_loaded(tiny):
    tiny.replace("riders.csv", "R01,RO", "R01,OR")
    study = open_study(tiny.root)
    with pytest.raises(Refusal, match="as OR says"):
        study.load_trial("T1")
    assert study.load_trial("T5").value("power_W") > 100


def test_an_excluded_trial_can_still_be_looked_at(tiny):
    assert open_study(tiny.root).load_trial("T8").value("power_W") > 100


def test_a_recording_that_cannot_be_read_names_its_trial(tiny):
    (tiny.root / "recordings" / "T1.csv").write_text("t,angle,torque\n", encoding="utf-8")
    with pytest.raises(Refusal, match=r"T1\.csv") as caught:
        open_study(tiny.root).load_trial("T1")
    assert (caught.value.rider, caught.value.trial) == ("R01", "T1")


def test_an_unknown_trial_and_one_with_a_bad_cell(tiny):
    tiny.replace("trials.csv", "T3,R01,1,2,", "T3,R01,1,x,")
    study = open_study(tiny.root)
    with pytest.raises(Refusal, match="column period"):
        study.load_trial("T3")
    with pytest.raises(Refusal, match="did you mean"):
        study.load_trial("T11")


def test_opening_and_loading_change_no_file(tiny):
    def bytes_of_all():
        return {path: path.read_bytes() for path in sorted(tiny.root.rglob("*")) if path.is_file()}

    before = bytes_of_all()
    open_study(tiny.root).load_trial("T1")
    assert bytes_of_all() == before
