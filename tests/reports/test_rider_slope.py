"""Which torque–speed slope a rider's page works with."""

import dataclasses

import numpy as np
import pytest

from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.rider_slope import choose_slope
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study

CADENCES = [70.0, 80.0, 90.0, 100.0]


def at_equal_effort(lost_pct_per_rpm):
    """Torques of one effort that loses so much of itself a rpm, with a little scatter."""
    scatter = np.array([0.002, -0.003, 0.002, -0.001])
    return 25.0 * np.exp(-lost_pct_per_rpm / 100 * (np.array(CADENCES) - 85.0) + scatter)


def test_what_is_declared_goes_before_what_is_recorded():
    trials = {"steady": (CADENCES, at_equal_effort(0.5))}
    assert choose_slope(0.8, trials).lost_pct_per_rpm == 0.8
    recorded = choose_slope(None, trials)
    assert recorded.origin == "recorded"
    assert recorded.lost_pct_per_rpm == pytest.approx(0.5, abs=0.03)
    assert "if effort was the same at each" in recorded.sentence()


def test_what_the_recordings_cannot_tell_is_assumed_and_said_why():
    held = choose_slope(None, {"steady": (CADENCES, 2200.0 / np.array(CADENCES))})
    assert held.origin == "assumed" and "a power that is held" in held.sentence()
    alike = choose_slope(None, {"steady": ([88.0, 89.0, 90.0], [25.0, 25.1, 25.0])})
    assert alike.origin == "assumed" and "cadences within 2.0 rpm" in alike.sentence()
    assert alike.lost_at(90.0) == pytest.approx(100 / (2 * 129.8 - 90))


def test_a_slope_in_study_toml_reaches_the_rider(tmp_path):
    small_study(tmp_path / "study", riders=1, duration_s=8.0)
    settings = tmp_path / "study" / "study.toml"
    assumed = analyse_rider(open_study(tmp_path / "study"), "R01").slope
    assert assumed.origin == "assumed"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(
        text.replace("[drivetrain]", "[drivetrain]\ntorque_lost_pct_per_rpm = 1.5"), encoding="utf-8"
    )
    analysis = analyse_rider(open_study(tmp_path / "study"), "R01")
    assert (analysis.slope.origin, analysis.slope.lost_pct_per_rpm) == ("declared", 1.5)
    assert analysis.ring_comparison(analysis.intensities[0]).slope == analysis.slope


def test_a_trial_of_one_leg_does_not_stop_the_slope(tmp_path):
    small_study(tmp_path / "study", riders=1, duration_s=8.0)
    analysis = analyse_rider(open_study(tmp_path / "study"), "R01")
    name = str(analysis.used.loc[analysis.used["ring"] == "round", "trial"].iloc[0])
    lame = dataclasses.replace(analysis.results[name], layout="left only")
    without = dataclasses.replace(analysis, results=analysis.results | {name: lame})
    count = int((analysis.used["ring"] == "round").sum())
    assert f"{count} round-ring trials" in analysis.slope.source
    assert f"{count - 1} round-ring trials" in without.slope.source
