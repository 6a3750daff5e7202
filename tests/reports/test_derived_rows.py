"""Derived outcomes on their way from a rider's trials to the effect of the ring."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.rider_exhibits import rider_contrasts
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study

DECLARED = """
[[outcomes]]
name = "gross_efficiency_pct"
label = "Gross efficiency"
unit = "%"
source = "derived"
better = "higher"
smallest_effect = 0.6

[[outcomes]]
name = "metabolic_power_W"
label = "Metabolic power"
unit = "W"
source = "derived"
better = "neither"
smallest_effect = 25.0
intensities = ["steady"]

[metabolism]
equation = "brockway"
steady_change_pct = 5.0
"""
# Brockway at an exchange ratio of 0.90: (16.58 + 4.51 · 0.90) kJ a litre of oxygen
KJ_PER_LITRE = 20.639


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Five riders whose oxygen uptake is 2.5 L/min on the round ring and 2.4 on the oval; one trial has a ratio of 1.1."""
    root = tmp_path_factory.mktemp("gases") / "study"
    orders = {"RO": ("round", "oval"), "OR": ("oval", "round")}
    small_study(root, riders=5, duration_s=6.0, sequences=orders)
    with (root / "study.toml").open("a", encoding="utf-8") as file:
        file.write(DECLARED)
    trials = pd.read_csv(root / "trials.csv", dtype=str, keep_default_na=False)
    vo2 = np.where(trials["ring"] == "round", 2.5, 2.4)
    ratio = np.where(trials["trial"] == "R01-P1-easy", 1.1, 0.9)
    trials.assign(vo2_L_min=vo2, vco2_L_min=vo2 * ratio).to_csv(root / "trials.csv", index=False)
    return open_study(root)


@pytest.fixture(scope="module")
def first(study):
    """The first rider."""
    return analyse_rider(study, "R01")


@pytest.fixture(scope="module")
def quantities(study, first):
    """What all riders' trials gave."""
    others = [analyse_rider(study, rider).quantities for rider in study.riders["rider"] if rider != "R01"]
    return pd.concat([first.quantities, *others])


def test_efficiency_is_power_over_metabolic_power_trial_by_trial(quantities):
    wide = quantities.pivot_table(index=["trial", "ring"], columns="quantity", values="value").reset_index()
    litres = np.where(wide["ring"] == "round", 2.5, 2.4)
    by_hand = 100 * wide["power_W"] / (litres * KJ_PER_LITRE * 1000 / 60)
    known = wide["trial"] != "R01-P1-easy"
    assert wide.loc[known, "gross_efficiency_pct"].to_numpy() == pytest.approx(by_hand[known].to_numpy())


def test_a_refused_trial_keeps_its_row_and_its_reason(quantities):
    rows = quantities[quantities["quantity"] == "gross_efficiency_pct"].set_index("trial")
    assert math.isnan(rows.loc["R01-P1-easy", "value"])
    note = rows.loc["R01-P1-easy", "note"]
    assert "respiratory exchange ratio – got 1.100" in note and "leave the trial out" not in note
    assert "keeps its other outcomes" in note and "intensities in study.toml" in note
    assert rows["value"].isna().sum() == 1


def test_the_effect_of_the_ring_is_estimated_from_the_rows(quantities):
    rows = quantities[quantities["quantity"] == "gross_efficiency_pct"].rename(
        columns={"value": "efficiency"}
    )
    effect = ring_effect(rows, "efficiency", unit="%")
    assert effect.overall.n == 4
    # 4 % less oxygen for about the same power: more efficient on the oval ring in every rider
    assert effect.overall.value > 0


def test_an_outcome_has_rows_and_differences_at_its_own_intensities_alone(study, first, quantities):
    metabolic = quantities[quantities["quantity"] == "metabolic_power_W"]
    assert set(metabolic["intensity"]) == {"steady"} and metabolic["value"].notna().all()
    contrasts = rider_contrasts(first)
    assert list(contrasts.loc[contrasts["outcome"] == "Metabolic power (W)", "intensity"]) == ["steady"]
    assert list(contrasts["intensity"]).count("easy") > 1
    power, *others = study.settings.outcomes
    narrowed = study.settings.model_copy(
        update={"outcomes": [power.model_copy(update={"intensities": ("hard",)}), *others]}
    )
    rows = rider_contrasts(replace(first, study=replace(study, settings=narrowed)))
    assert list(rows.loc[rows["outcome"].str.startswith(power.label), "intensity"]) == ["hard"]


def test_a_rider_is_told_of_lost_gases_where_they_are_wanted(first):
    (said,) = [line for line in rider_words.effect(first) if "not known" in line]
    assert said.startswith("Gross efficiency not known in R01-P1-easy: respiratory exchange ratio")
