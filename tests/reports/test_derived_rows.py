"""Derived outcomes on their way from a rider's trials to the effect of the ring."""

import math

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.rider_analysis import analyse_rider
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.study.folder import open_study
from analysis_lib.study.synthetic import small_study

DECLARED = """
[[outcomes]]
name = "gross_efficiency_pct"
label = "Gross efficiency"
unit = "%"
source = "derived"
better = "higher"
smallest_effect = 0.6

[metabolism]
equation = "brockway"
steady_change_pct = 5.0
"""
# Brockway at an exchange ratio of 0.90: (16.58 + 4.51 · 0.90) kJ a litre of oxygen
KJ_PER_LITRE = 20.639


@pytest.fixture(scope="module")
def quantities(tmp_path_factory):
    """Four riders whose oxygen uptake is 2.5 L/min on the round ring and 2.4 on the oval; one trial has a ratio of 1.1."""
    root = tmp_path_factory.mktemp("gases") / "study"
    small_study(root, riders=4, duration_s=8.0)
    with (root / "study.toml").open("a", encoding="utf-8") as file:
        file.write(DECLARED)
    trials = pd.read_csv(root / "trials.csv", dtype=str, keep_default_na=False)
    vo2 = np.where(trials["ring"] == "round", 2.5, 2.4)
    ratio = np.where(trials["trial"] == "R01-P1-easy", 1.1, 0.9)
    trials.assign(vo2_L_min=vo2, vco2_L_min=vo2 * ratio).to_csv(root / "trials.csv", index=False)
    study = open_study(root)
    return pd.concat([analyse_rider(study, rider).quantities for rider in study.riders["rider"]])


def test_efficiency_is_power_over_metabolic_power_trial_by_trial(quantities):
    wide = quantities.pivot_table(index=["trial", "ring"], columns="quantity", values="value").reset_index()
    litres = np.where(wide["ring"] == "round", 2.5, 2.4)
    by_hand = 100 * wide["power_W"] / (litres * KJ_PER_LITRE * 1000 / 60)
    known = wide["trial"] != "R01-P1-easy"
    assert wide.loc[known, "gross_efficiency_pct"].to_numpy() == pytest.approx(by_hand[known].to_numpy())


def test_a_refused_trial_keeps_its_row_and_its_reason(quantities):
    rows = quantities[quantities["quantity"] == "gross_efficiency_pct"].set_index("trial")
    assert math.isnan(rows.loc["R01-P1-easy", "value"])
    assert "respiratory exchange ratio – got 1.100" in rows.loc["R01-P1-easy", "note"]
    assert rows["value"].isna().sum() == 1


def test_the_effect_of_the_ring_is_estimated_from_the_rows(quantities):
    rows = quantities[quantities["quantity"] == "gross_efficiency_pct"].rename(
        columns={"value": "efficiency"}
    )
    effect = ring_effect(rows, "efficiency", unit="%")
    assert effect.overall.n == 4
    # 4 % less oxygen for about the same power: more efficient on the oval ring in every rider
    assert effect.overall.value > 0
