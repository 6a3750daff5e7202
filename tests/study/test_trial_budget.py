"""The budget of a trial: each input's part worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.trial_budget import DECLARED, trial_budgets, undeclared
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("budget") / "study"
    small_study(folder, riders=2, duration_s=20.0)
    study = open_study(folder)
    bare = study.settings.recorders["two_leg_crank"].model_copy(update=dict.fromkeys(DECLARED))
    return study.load_trial("R01-P1-steady"), bare


def test_nothing_declared_leaves_turns_zero_and_sampling_and_says_what_is_missing(trial):
    result, recorder = trial
    assert undeclared(recorder) == [
        "the calibration slope",
        "the slope's change with temperature",
        "the zero of the crank angle",
        "the delay of torque behind angle",
    ]
    frame = trial_budgets(result, recorder)["power"].to_frame().set_index("input")
    none = ["calibration slope", "slope's change with temperature"]
    assert (frame.loc[none, "contribution"] == 0).all()
    assert (frame.drop(none)["contribution"] > 0).all()


def test_zero_of_two_legs_is_half_of_each_drift_evenly_and_adds_by_squares(trial):
    result, recorder = trial
    left, right = (result.quality[f"zero_drift_{leg}_Nm"] for leg in ("left", "right"))
    expected_Nm = math.sqrt((left / 2) ** 2 / 3 + (right / 2) ** 2 / 3)
    frame = trial_budgets(result, recorder)["torque"].to_frame().set_index("input")
    assert frame.loc["zero torque between checks", "contribution"] == pytest.approx(expected_Nm, rel=1e-6)


def test_one_per_cent_of_slope_is_one_per_cent_of_power(trial):
    result, recorder = trial
    declared = recorder.model_copy(update={"slope_uncertainty_pct": 1.0})
    frame = trial_budgets(result, declared)["power"].to_frame().set_index("input")
    part = frame.loc["calibration slope", "contribution"]
    assert part == pytest.approx(0.01 * result.value("power_W"), rel=1e-3)  # first order in 1 %


def test_delay_moves_the_phase_by_six_degrees_a_second_and_rpm(trial):
    result, recorder = trial
    declared = recorder.model_copy(update={"delay_uncertainty_ms": 2.0, "angle_zero_uncertainty_deg": 0.5})
    frame = trial_budgets(result, declared)["torque_phase"].to_frame().set_index("input")
    assert frame.loc["delay of torque", "contribution"] == pytest.approx(
        6 * result.value("cadence_rpm") * 0.002, rel=1e-6
    )
    assert frame.loc["zero of the crank angle", "contribution"] == pytest.approx(0.5, rel=1e-9)


def test_the_law_agrees_with_drawing(trial):
    result, recorder = trial
    declared = recorder.model_copy(update={"slope_uncertainty_pct": 1.0})
    budget = trial_budgets(result, declared)["power"]
    drawn = budget.monte_carlo(200_000, seed=1)
    # Student's t on ν degrees of freedom has the variance ν/(ν − 2).
    inflated = [
        part**2 * (1 if math.isinf(source.df) else source.df / (source.df - 2))
        for part, source in zip(budget.contributions, budget.inputs, strict=True)
    ]
    assert drawn.std() == pytest.approx(math.sqrt(sum(inflated)), rel=0.03)
    assert drawn.mean() == pytest.approx(budget.value, rel=1e-3)


def test_a_zero_from_a_fit_counts_with_the_fit_s_uncertainty_and_not_with_the_drift(trial):
    result, recorder = trial
    fitted = {"zero_fit_left_Nm": 0.03, "zero_fit_right_Nm": 0.04, "zero_fit_df": 9.0}
    # Two legs known to 0.03 and 0.04 N m apart: 0.05 N m together, however far the zero moved between the checks.
    budget = trial_budgets(replace(result, quality={**result.quality, **fitted}), recorder)["torque"]
    frame = budget.to_frame().set_index("input")
    assert "zero torque between checks" not in frame.index
    assert frame.loc["zero torque, fit of all checks", "contribution"] == pytest.approx(0.05, rel=1e-9)
    assert budget.inputs[1].df == 9.0


def test_the_rule_temperature_brings_the_fit_into_the_budget(trial, tmp_path):
    folder = tmp_path / "study"
    small_study(folder, riders=2, duration_s=20.0)
    toml = (folder / "study.toml").read_text()
    assert 'zero_model = "line"' in toml or "zero_model" not in toml
    settings = open_study(folder).settings
    rules = settings.rules.model_copy(update={"zero_model": "temperature"})
    study = open_study(folder)
    object.__setattr__(study, "settings", settings.model_copy(update={"rules": rules}))
    result = study.load_trial("R01-P1-steady")
    assert result.quality["zero_fit_df"] >= 1
    inputs = trial_budgets(result, trial[1])["power"].to_frame()["input"].tolist()
    assert "zero torque, fit of all checks" in inputs


def test_the_slope_counts_as_far_as_the_trial_was_from_the_temperature_of_its_calibration(trial, tmp_path):
    """0.05 % a degree, evenly: power · 0.0005 · degrees / √3 (JCGM 100, 4.3.7)."""
    folder = tmp_path / "study"
    small_study(folder, riders=2, duration_s=20.0)
    study = open_study(folder)
    result, recorder = study.load_trial("R01-P1-steady"), study.settings.recorders["two_leg_crank"]
    row = study.trials.set_index("trial").loc["R01-P1-steady"]
    # Stored as thousandths of a degree; the made-up recorder was calibrated at 20 °C.
    stored_mC = pd.read_parquet(folder / row["file"])["temperature_mC"].to_numpy() / 1000
    away = float(np.abs(stored_mC - 20.0).max())
    assert result.quality["from_calibration_degC"] == pytest.approx(away, rel=1e-9)
    frame = trial_budgets(result, recorder)["power"].to_frame().set_index("input")
    assert frame.loc["slope's change with temperature", "contribution"] == pytest.approx(
        result.value("power_W") * 0.0005 * away / math.sqrt(3), rel=1e-6
    )


def test_a_change_with_temperature_needs_the_temperature_of_the_calibration(trial):
    declared = trial[1].model_copy(update={"slope_per_degC_pct": 0.05, "calibrated_at_degC": None})
    assert undeclared(declared)[-1] == "the temperature of its calibration"
    assert undeclared(declared.model_copy(update={"calibrated_at_degC": 20.0})) == undeclared(declared)[:-1]


def test_turns_too_few_for_a_spread_leave_a_trial_without_a_budget_and_its_rider_with_a_page(tmp_path):
    small_study(tmp_path / "short", riders=1, duration_s=2.6)
    study = open_study(tmp_path / "short")
    result = study.load_trial("R01-P1-easy")
    assert math.isnan(result.summary.set_index("quantity").loc["mean_torque_Nm", "se"])
    assert trial_budgets(result, study.settings.recorders["two_leg_crank"]) == {}
