"""Whether the analysis gives back what was put into the demo study (seed 20260302, stated in its study.toml).

The truth comes from the virtual riders' harmonics and from work over time at every degree, never from the analysis.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.study_truth import read_truth
from analysis_lib.study.tables.derived_outcomes import derive, derive_delta

DEMO = Path(__file__).resolve().parents[2] / "data_synthetic" / "lantern_hill"
QUANTITIES = ["power_W", "torque_phase_deg", "cadence_rpm"]


@pytest.fixture(scope="module")
def study():
    return open_study(DEMO)


@pytest.fixture(scope="module")
def truth():
    return read_truth(DEMO)


@pytest.fixture(scope="module")
def measured(study, truth) -> pd.DataFrame:
    """One row a trial that could be analysed: what was measured, and beside it what was true."""
    rows = []
    for trial in study.trials[study.trials["usable"]].itertuples():
        try:
            result = study.load_trial(trial.trial)
        except Refusal:
            continue
        values = {name: result.value(name) for name in QUANTITIES}
        se = result.summary.set_index("quantity")["se"][QUANTITIES].add_prefix("se_").to_dict()
        rows.append({"trial": trial.trial, **values, **se, "cautions": len(result.cautions)})
    true = truth.trials.set_index("trial").add_prefix("true_")
    table = study.trials.drop(columns="row").merge(pd.DataFrame(rows), on="trial").join(true, on="trial")
    return table.merge(study.riders[["rider", "sequence"]], on="rider")


def test_only_the_saturated_trial_gives_nothing_and_only_the_stuck_ones_a_caution(study, measured):
    assert set(study.trials.loc[study.trials["usable"], "trial"]) - set(measured["trial"]) == {"R09-P3-hard"}
    assert set(measured.loc[measured["cautions"] > 0, "true_fault"]) == {"left channel stuck"}
    assert (measured["cautions"] == 0).sum() == 135


def test_power_of_every_trial_is_the_work_that_was_done(measured):
    # What is left is zero torque between checks (a curved drift under a straight line, 0.02 N m a look, both legs:
    # about 0.03 N m, 0.3 W at 88 rpm) and part turns at either end of 58 s of correlated turns.
    sound = measured[measured["true_fault"] == ""]
    error = sound["power_W"] - sound["true_power_W"]
    assert error.abs().max() < 1.0
    assert abs(error.mean()) < 0.15
    relative = error / sound["true_power_W"]
    assert relative.std() < 0.002
    # Round and oval alike: no artefact of the ring, where the time-averaged product would err by about 2 %.
    by_ring = relative.groupby(sound["ring"]).mean()
    assert abs(by_ring["oval"] - by_ring["round"]) < 0.001


def test_torque_phase_of_every_trial_scatters_as_correlated_turns_must(measured):
    sound = measured[measured["true_fault"] == ""]
    error = sound["torque_phase_deg"] - sound["true_torque_phase_deg"]
    se = sound["se_torque_phase_deg"]
    # The angle of a turn is an autoregressive series of SD 1.5 degrees and correlation 0.6, over n = 83 turns, so its
    # mean has the SE 1.5 sqrt((1 + 0.6) / (1 - 0.6) / n) = 0.33 degrees (textbook formula for a long series).
    expected = 1.5 * np.sqrt(1.6 / 0.4 / 83)
    assert len(error) == 135
    assert error.std() == pytest.approx(expected, rel=0.2)  # 3.3 SE of an SD from 135 values
    assert abs(error.mean()) < 3.3 * expected / np.sqrt(135)
    # Standard errors from 83 such turns are known to be somewhat too small: mean +- 1.96 SE covers 0.89 of them
    # in simulation (0.83 to 0.95 by correlation, says the statistics room). 135 x 0.89 = 120, SD 3.6.
    assert se.mean() == pytest.approx(expected, rel=0.2)
    assert (error.abs() < 1.96 * se).sum() >= 109


@pytest.mark.parametrize("intensity", ["easy", "steady", "hard"])
def test_torque_phase_of_every_rider_is_given_back(measured, truth, intensity):
    here = measured[(measured["intensity"] == intensity) & (measured["true_fault"] == "")]
    expected = truth.riders[truth.riders["intensity"] == intensity].set_index("rider")["torque_phase_deg"]
    for rider, trials in here.groupby("rider"):
        mean = axial_mean(trials["torque_phase_deg"].to_numpy()).angle_deg
        # Trials scatter by 0.8 degrees around the rider's phase, turns by 1.5 (correlated: 0.3 on a trial's mean).
        allowed = 3.5 * np.hypot(0.8, 0.33) / np.sqrt(len(trials))
        assert mean == pytest.approx(expected[rider], abs=allowed), rider


@pytest.mark.parametrize("intensity", ["easy", "steady", "hard", "overall"])
def test_the_ring_effect_lies_in_its_own_interval(measured, truth, intensity):
    effect = ring_effect(measured, "power_W").to_frame().set_index("intensity").loc[intensity]
    assert effect["low"] <= truth.ring_effect_W(intensity) <= effect["high"]
    assert effect["df"] == 10 and effect["n"] == 12
    # The interval is that of a study of this size, and not so wide that anything would lie in it.
    assert 0.5 < effect["high"] - effect["low"] < 8.0


def test_a_ring_has_no_effect_on_torque_phase_and_none_is_found(measured):
    effect = ring_effect(measured, "torque_phase_deg").to_frame().set_index("intensity").loc["overall"]
    assert effect["low"] <= 0.0 <= effect["high"]
    assert effect["high"] - effect["low"] < 1.5


# ---- gas exchange: what riding costs is put in as a straight line, and hidden in volumes -------------------------------


@pytest.fixture(scope="module")
def gases(study, truth, measured) -> pd.DataFrame:
    """One row a trial that is not excluded: its derived outcomes, and beside them what was true."""
    powers = measured.set_index("trial")["power_W"]
    rows = []
    for trial in study.trials[~study.trials["exclude"]].itertuples():
        made = {
            name: derive(name, trial, powers.get(trial.trial, np.nan), "", study.settings.metabolism)
            for name in ("gross_efficiency_pct", "metabolic_power_W")
        }
        values = {name: found.value for name, found in made.items()}
        rows.append({"trial": trial.trial, **values, "note": made["metabolic_power_W"].note})
    true = truth.trials.set_index("trial").add_prefix("true_")
    table = study.trials.drop(columns="row").merge(pd.DataFrame(rows), on="trial").join(true, on="trial")
    return table.merge(study.riders[["rider", "sequence"]], on="rider")


def test_metabolic_power_scatters_as_the_flow_meter_does(gases):
    known = gases[gases["metabolic_power_W"].notna()]
    error = known["metabolic_power_W"] / known["true_metabolic_power_W"] - 1
    # The flow meter's error is 1.5 % a trial, so an SD of n errors lies within 3 × 1.5/sqrt(2n) of it.
    assert error.std() == pytest.approx(0.015, abs=3 * 0.015 / np.sqrt(2 * len(known)))
    assert abs(error.mean()) < 3.3 * 0.015 / np.sqrt(len(known))


def test_gases_are_refused_where_they_do_not_tell_the_energy_and_nowhere_else(gases):
    refused = gases[gases["metabolic_power_W"].isna()]
    spoiled = refused[refused["true_gas_mishap"] != ""]
    assert spoiled["trial"].tolist() == ["R03-P2-steady", "R08-P1-easy"]
    others = refused[refused["true_gas_mishap"] == ""]
    assert set(others["intensity"]) == {"hard"}
    above = others["true_exchange_ratio"] > 1.0
    # A minute's error of 0.8 % lets a rise pass the bound of 5 % from 2.5 × 0.8 × sqrt(2) = 2.8 % on.
    assert ((others["true_oxygen_rise_pct"] > 2.2) | above).all()
    kept = gases[gases["metabolic_power_W"].notna()]
    # Cells hold three decimals: a ratio is known to 0.0005 at 3 L/min.
    assert (kept["true_exchange_ratio"] < 1.0005).all()
    # More than half of the hard trials are refused, and they are not analysed at hard: study.toml declares that.
    assert (others["intensity"] == "hard").sum() > 22


def test_the_effect_on_gross_efficiency_lies_in_its_own_interval(gases, truth):
    steady = gases[gases["intensity"] != "hard"]
    effect = ring_effect(steady, "gross_efficiency_pct").to_frame().set_index("intensity")
    true = truth.riders.groupby("intensity")["gross_efficiency_effect"].mean()
    for intensity, expected in {
        **true[["easy", "steady"]],
        "overall": true[["easy", "steady"]].mean(),
    }.items():
        row = effect.loc[intensity]
        assert row["low"] <= expected <= row["high"]
        assert 0.1 < row["high"] - row["low"] < 0.6
        assert row["n"] == 12


def test_delta_efficiency_is_given_back(study, gases, measured, truth):
    powers = measured.set_index("trial")["power_W"]
    made = []
    for (rider, _), rows in gases[gases["intensity"] != "hard"].groupby(["rider", "period"]):
        trials = list(rows.itertuples())
        found = derive_delta(trials, [powers[trial.trial] for trial in trials], study.settings.metabolism)
        made.append((rider, found.value))
    table = pd.DataFrame(made, columns=["rider", "value"]).dropna()
    put_in = {rider["rider"]: rider["gases"]["delta_efficiency_pct"] for rider in truth.details}
    error = table["value"] - table["rider"].map(put_in)
    # 1.5 % of about 760 and 960 W on a difference of about 205 W: sqrt(11.4² + 14.4²)/205 = 9 % of 25, 2.2 points.
    assert len(table) == 44
    assert error.std() == pytest.approx(2.2, rel=0.35)
    assert abs(error.mean()) < 3.3 * 2.2 / np.sqrt(len(table))


@pytest.mark.long
def test_many_studies_cover_the_effect_as_often_as_they_say(tmp_path):
    """200 small studies of 8 riders, true power: 95 % intervals hold the riders' mean effect in 90 to 99 %."""
    from analysis_lib.study.synthetic.synthetic import small_study

    covered = []
    for seed in range(200):
        root = tmp_path / f"s{seed}"
        truth = small_study(root, riders=8, duration_s=3.0, seed=seed)
        study = open_study(root)
        table = study.trials.merge(study.riders[["rider", "sequence"]], on="rider").merge(
            truth.trials, on="trial"
        )
        row = ring_effect(table, "power_W").to_frame().set_index("intensity").loc["overall"]
        covered.append(row["low"] <= truth.ring_effect_W() <= row["high"])
    # Binomial with n = 200 and p = 0.95: SD 1.5 %, so 0.90 to 0.99 holds it in more than 99 % of repetitions.
    assert 0.90 <= np.mean(covered) <= 0.99
