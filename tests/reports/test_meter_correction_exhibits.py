"""The correction of another meter on a rider's page: what stands in it for a study whose meter error is known."""

import math

import pytest

from analysis_lib.mechanics.power_error import power_error
from analysis_lib.reports.rider.meter_correction_exhibits import (
    SECTORS,
    correct_meters,
    correction_table,
    correction_words,
)
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def analysis(tmp_path_factory):
    folder = tmp_path_factory.mktemp("correction") / "study"
    small_study(folder, riders=2, duration_s=20.0)
    return analyse_rider(open_study(folder), "R01")


@pytest.fixture(scope="module")
def corrections(analysis):
    return correct_meters(analysis)


def test_every_intensity_ring_and_meter_has_a_row_that_adds_up(analysis, corrections):
    frame = corrections.to_frame()
    assert len(frame) == len(analysis.intensities) * 2 * len(SECTORS)
    assert (frame["meter_W"] + frame["add_W"]).to_numpy() == pytest.approx(frame["power_W"].to_numpy())
    assert (frame["factor_low"] <= frame["factor_high"]).all()


def test_power_is_that_of_the_rider_s_trials(analysis, corrections):
    here = analysis.quantities.query("quantity == 'power_W' and ring == 'oval' and intensity == 'easy'")
    assert corrections.power_W["easy", "oval"] == pytest.approx(here["value"].mean(), rel=0.003)


def test_the_oval_is_corrected_and_the_round_one_read_once_a_turn_is_not(corrections):
    frame = corrections.to_frame().set_index(["intensity", "ring", "sectors"])
    assert frame.loc[("easy", "round", 1), "factor"] == pytest.approx(1, abs=1e-6)
    assert abs(frame.loc[("easy", "oval", 1), "factor"] - 1) > 0.005


def test_the_recorded_speed_asks_for_the_same_correction(corrections):
    """The virtual rider's speed was made with constant resistance and the study's inertia."""
    frame = corrections.to_frame()
    assert frame["factor_measured"].to_numpy() == pytest.approx(frame["factor"].to_numpy(), abs=0.002)


def test_what_is_not_declared_is_assumed_and_said(analysis, corrections):
    words = " ".join(correction_words(corrections))
    assert "inertia to 20 %" in words and "mount angle to 1°" in words
    drivetrain = analysis.study.settings.drivetrain.model_copy(
        update={"inertia_uncertainty_pct": 5.0, "mount_uncertainty_deg": 0.5}
    )
    settings = analysis.study.settings.model_copy(update={"drivetrain": drivetrain})
    object.__setattr__(analysis.study, "settings", settings)
    declared = correct_meters(analysis)
    assert declared.known_to.inertia_relative == 0.05 and declared.known_to.mount_deg == 0.5
    assert "inertia to" not in " ".join(correction_words(declared))


def test_the_table_states_method_and_standard_uncertainties(corrections):
    caption = correction_table(corrections).caption
    assert "JCGM 101:2008" in caption and "inertia (20 %)" in caption


def test_the_round_ring_s_rows_that_say_nothing_are_left_out_and_summed_up(analysis, corrections):
    table = correction_table(corrections)
    assert set(table.frame["ring"]) == {"oval"} and len(table.frame) == len(analysis.intensities) * len(
        SECTORS
    )
    largest = corrections.to_frame().query("ring == 'round'")["add_W"].abs().max()
    assert largest < 0.5 and f"On the round ring: none, {largest:.2f} W at most." in table.caption


def test_a_single_trial_gives_the_factor_of_its_own_torque(analysis, corrections):
    """By the one-turn functions, on the mean torque of the trials."""
    drivetrain = analysis.drivetrains(analysis.mount_deg)["oval"]
    stroke = analysis.ring_draws("easy", "oval")
    torque = stroke.mean_Nm["easy"]
    error = power_error(torque, drivetrain.steady_speed(torque, stroke.cadence_rpm["easy"]), 4)
    (found,) = (part for part in corrections.found["easy", "oval"] if part.sectors == 4)
    assert found.factor == pytest.approx(1 / (1 + error), rel=1e-9)
    assert math.isfinite(found.standard_uncertainty) and found.standard_uncertainty > 0
