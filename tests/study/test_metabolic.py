"""Metabolic power against other equations, tables of the respiratory quotient and heats of combustion."""

from __future__ import annotations

import math
import re
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.protocol import Metabolism
from analysis_lib.study.declared.settings import read_settings
from analysis_lib.study.outcomes.delta_efficiency import delta_efficiency
from analysis_lib.study.outcomes.metabolic_power import (
    BROCKWAY,
    PERONNET_MASSICOTTE,
    check_steady,
    gross_efficiency_pct,
    metabolic_power,
)
from analysis_lib.study.tables.contents import read_contents
from analysis_lib.study.tables.datapackage import describe_package
from analysis_lib.study.tables.derived_outcomes import NOT_CHECKED, derive, derive_delta, why_refused
from analysis_lib.study.tables.rows import UNREAD

KJ_PER_KCAL = 4.184
LITRES_PER_MOLE = 22.414
RULES = Metabolism(equation="brockway", steady_change_pct=5.0)


# ---- energy a litre of oxygen ----------------------------------------------------------------------------------------


# Weir 1949, J Physiol 109:1: 3.941 kcal a litre of oxygen and 1.106 a litre of carbon dioxide, protein left out (from
# memory, very sure).
@pytest.mark.parametrize("ratio", [0.70, 0.85, 1.00])
def test_brockway_agrees_with_weir(ratio):
    weir = (3.941 + 1.106 * ratio) * KJ_PER_KCAL
    assert BROCKWAY.energy_per_oxygen(ratio) == pytest.approx(weir, rel=5e-3)


# Ends of the classical table of Zuntz and Schumburg as revised by Lusk, in every textbook of exercise physiology (from
# memory, very sure): 4.686 kcal a litre of oxygen at a quotient of 0.707, 5.047 at 1.
@pytest.mark.parametrize(("ratio", "kcal"), [(0.707, 4.686), (1.0, 5.047)])
def test_brockway_agrees_with_the_ends_of_the_classical_table(ratio, kcal):
    assert BROCKWAY.energy_per_oxygen(ratio) == pytest.approx(kcal * KJ_PER_KCAL, rel=1e-2)


# Heats of combustion, CRC Handbook of Chemistry and Physics (from memory, very sure): glucose 2805 kJ/mol with six
# oxygen (quotient 1), palmitic acid 9978 kJ/mol with 23 oxygen and 16 carbon dioxide. The body burns mixtures, so 2 %.
@pytest.mark.parametrize(("heat", "oxygen", "carbon_dioxide"), [(2805, 6, 6), (9978, 23, 16)])
def test_brockway_agrees_with_heats_of_combustion(heat, oxygen, carbon_dioxide):
    per_litre = heat / (oxygen * LITRES_PER_MOLE)
    assert BROCKWAY.energy_per_oxygen(carbon_dioxide / oxygen) == pytest.approx(per_litre, rel=2e-2)


# Péronnet & Massicotte 1991: carbohydrate 4.585 VCO2 − 3.226 VO2, fat 1.695 VO2 − 1.701 VCO2 g/min (from memory, very
# sure: quoted in many papers), 3.868 and 9.746 kcal/g at 4.186 kJ (from memory, fairly sure). Their table ends where one
# of the two is nothing: 3.226/4.585 = 0.7036, 1.695/1.701 = 0.9965.
@pytest.mark.parametrize("ratio", [3.226 / 4.585, 0.85, 1.695 / 1.701])
def test_peronnet_and_massicotte_agree_with_their_own_grams_of_fuel(ratio):
    carbohydrate, fat = 4.585 * ratio - 3.226, 1.695 - 1.701 * ratio
    energy = (3.868 * carbohydrate + 9.746 * fat) * 4.186
    assert PERONNET_MASSICOTTE.energy_per_oxygen(ratio) == pytest.approx(energy, rel=3e-3)


@given(st.floats(0.70, 1.00))
def test_the_two_equations_differ_by_about_three_per_cent_everywhere(ratio):
    share = PERONNET_MASSICOTTE.energy_per_oxygen(ratio) / BROCKWAY.energy_per_oxygen(ratio)
    assert 1.025 < share < 1.035


def test_an_equation_cannot_pass_for_an_effect_of_the_ring():
    # 2 % less oxygen on the oval ring: the relative difference of efficiency is the same with either equation
    shares = []
    for equation in (BROCKWAY, PERONNET_MASSICOTTE):
        on_round, on_oval = (metabolic_power(vo2, 0.9 * vo2, equation) for vo2 in (3.0, 2.94))
        shares.append(gross_efficiency_pct(220, on_oval) / gross_efficiency_pct(220, on_round))
    assert shares == pytest.approx([1 / 0.98, 1 / 0.98])


# ---- metabolic power and gross efficiency ----------------------------------------------------------------------------


@given(st.floats(0.5, 6.0), st.floats(0.7001, 0.9999), st.floats(0.1, 3.0))
def test_power_grows_in_proportion_to_both_gases(vo2, ratio, factor):
    one = metabolic_power(vo2, vo2 * ratio)
    more = metabolic_power(factor * vo2, factor * vo2 * ratio)
    assert more.value == pytest.approx(factor * one.value)
    assert one.exchange_ratio == pytest.approx(ratio)


# Moseley & Jeukendrup 2001: gross efficiency of trained cyclists 19.8 ± 0.6 %; Leirdal & Ettema 2011: 21.7 % at 279 W.
# 279 W at an oxygen uptake of 3.7 L/min and a ratio of 0.90, plausible for that power, must land there.
def test_gross_efficiency_is_of_the_published_size():
    assert 18.5 < gross_efficiency_pct(279, metabolic_power(3.7, 0.90 * 3.7)) < 23


@pytest.mark.parametrize(
    ("vo2", "vco2", "words"),
    [
        (3.0, 3.03, "buffering"),
        (3.0, 1.95, "no fuel"),
        (0.0, 2.0, "positive"),
        (3.0, -1.0, "positive"),
        (math.nan, 2.0, "positive"),
        (math.inf, 2.0, "positive"),
    ],
)
def test_gases_that_do_not_tell_the_energy_are_refused(vo2, vco2, words):
    with pytest.raises(Refusal, match=words):
        metabolic_power(vo2, vco2)


def test_the_ends_of_the_table_are_still_accepted():
    assert metabolic_power(3.0, 3.0).exchange_ratio == 1.0
    assert metabolic_power(1.0, 0.70).exchange_ratio == 0.70


@pytest.mark.parametrize("power", [0.0, -5.0, 2000.0, math.nan])
def test_a_power_that_cannot_be_is_refused(power):
    with pytest.raises(Refusal, match="mechanical power"):
        gross_efficiency_pct(power, metabolic_power(3.0, 2.7))


def test_steady_state_is_judged_by_the_declared_bound():
    # 2.9 and 3.1 L/min lie 0.2/3.0 = 6.67 % apart
    check_steady(2.9, 3.1, 6.7)
    with pytest.raises(Refusal, match=r"6\.7 % apart"):
        check_steady(3.1, 2.9, 6.6)


# ---- delta efficiency ------------------------------------------------------------------------------------------------


def test_delta_efficiency_is_the_reciprocal_slope():
    power, metabolic = [100, 150, 200, 250], [610, 795, 1010, 1190]
    fit = stats.linregress(power, metabolic)
    found = delta_efficiency(power, metabolic)
    assert found.value == pytest.approx(100 / fit.slope)
    assert found.slope_se == pytest.approx(fit.stderr)
    reach = stats.t.ppf(0.975, 2) * fit.stderr
    bounds = found.interval()
    assert (bounds.low, bounds.high) == pytest.approx((100 / (fit.slope + reach), 100 / (fit.slope - reach)))


@given(st.floats(50, 400), st.floats(2.5, 6.0))
def test_delta_efficiency_leaves_out_what_rest_costs(rest, slope):
    power = np.array([100.0, 150.0, 200.0])
    found = delta_efficiency(power, rest + slope * power)
    assert found.value == pytest.approx(100 / slope)
    assert found.value > 100 * power[-1] / (rest + slope * power[-1])


def test_two_intensities_give_a_value_without_an_interval():
    found = delta_efficiency([100, 200], [600, 1000])
    assert found.value == 25.0 and math.isnan(found.interval().low)
    assert "no interval" in found.sentence()


@pytest.mark.parametrize("metabolic", [[600.0], [600.0, 500.0], [600.0, 600.0]])
def test_delta_efficiency_is_refused_where_nothing_rises(metabolic):
    with pytest.raises(Refusal):
        delta_efficiency([100, 200], metabolic)
    with pytest.raises(Refusal, match="two different powers"):
        delta_efficiency([150, 150], [600, 700])


# ---- outcomes of a study ---------------------------------------------------------------------------------------------


def trial(**gases):
    return SimpleNamespace(**{"vo2_L_min": 3.0, "vco2_L_min": 2.7} | gases)


def test_derived_values_carry_how_they_were_made_or_why_not():
    # (16.58 · 3.0 + 4.51 · 2.7) · 1000/60 = 1031.95 W
    power = derive("metabolic_power_W", trial(), math.nan, "", RULES)
    assert power.value == pytest.approx(1031.95) and NOT_CHECKED in power.note
    efficiency = derive("gross_efficiency_pct", trial(), 206.39, "one leg, doubled", RULES)
    assert efficiency.value == pytest.approx(20.0) and efficiency.note.startswith("one leg, doubled")
    steady = trial(vo2_minute_1_L_min=2.95, vo2_minute_2_L_min=3.05)
    assert NOT_CHECKED not in derive("metabolic_power_W", steady, 200.0, "", RULES).note


@pytest.mark.parametrize(
    ("gases", "power", "words"),
    [
        ({"vco2_L_min": 3.1}, 200.0, "respiratory exchange ratio"),
        ({"vo2_minute_1_L_min": 2.8, "vo2_minute_2_L_min": 3.2}, 200.0, "not a steady state"),
        ({"vo2_L_min": math.nan}, 200.0, "empty cell"),
        ({}, math.nan, "no power"),
    ],
)
def test_refused_trials_have_no_value_and_a_reason(gases, power, words):
    found = derive("gross_efficiency_pct", trial(**gases), power, "", RULES)
    assert math.isnan(found.value) and words in found.note


@pytest.mark.parametrize("column", ["vo2_L_min", "vo2_minute_2_L_min"])
def test_a_gas_cell_at_fault_refuses_the_trial_also_where_it_would_only_tell_whether_the_state_was_steady(
    column,
):
    spoilt = trial(**{column: math.nan, UNREAD: column})
    for outcome in ("metabolic_power_W", "gross_efficiency_pct"):
        found = derive(outcome, spoilt, 200.0, "", RULES)
        assert math.isnan(found.value) and f"a cell at fault in {column}" in found.note
        assert why_refused(found.note) == "a cell at fault"
    sound = derive("metabolic_power_W", trial(**{UNREAD: "hr_bpm"}), 200.0, "", RULES)
    assert sound.value == pytest.approx(1031.95)  # as above: heart rate is no part of it


EFFICIENCY = """
[[outcomes]]
name = "gross_efficiency_pct"
label = "Gross efficiency"
unit = "%"
source = "derived"
better = "higher"
smallest_effect = 0.6
"""
METABOLISM = '\n[metabolism]\nequation = "brockway"\nsteady_change_pct = 5.0\n'


def declare(tiny, outcome: str = EFFICIENCY, metabolism: str = METABOLISM) -> None:
    with (tiny.root / "study.toml").open("a", encoding="utf-8") as file:
        file.write(outcome + metabolism)


def add_columns(tiny, **cells: str) -> None:
    lines = (tiny.root / "trials.csv").read_text(encoding="utf-8").splitlines()
    rows = [f"{lines[0]},{','.join(cells)}", *(f"{line},{','.join(cells.values())}" for line in lines[1:])]
    (tiny.root / "trials.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def test_a_study_reads_its_gases_as_numbers_and_notes_an_unchecked_steady_state(tiny):
    declare(tiny)
    add_columns(tiny, vo2_L_min="3.0", vco2_L_min="2.7")
    study = open_study(tiny.root)
    assert study.errors == []
    assert study.trials["vo2_L_min"].tolist() == [3.0] * 8
    assert any("vo2_minute_1_L_min" in str(note) for note in study.notes)
    fields = describe_package(read_contents(tiny.root)[0])["resources"][1]["schema"]["fields"]
    (gas,) = [field for field in fields if field["name"] == "vco2_L_min"]
    assert gas["type"] == "number" and gas["unit"] == "L/min"


def test_a_study_with_both_minutes_has_nothing_to_note_about_them(tiny):
    declare(tiny)
    add_columns(tiny, vo2_L_min="3.0", vco2_L_min="2.7", vo2_minute_1_L_min="3.0", vo2_minute_2_L_min="3.0")
    assert not any("minute" in str(note) for note in open_study(tiny.root).notes)


def test_missing_columns_and_wrong_names_and_units_are_errors(tiny):
    declare(
        tiny, EFFICIENCY.replace('"%"', '"1"') + EFFICIENCY.replace("gross_efficiency_pct", "gross_eficiency")
    )
    words = " ".join(str(problem) for problem in open_study(tiny.root).errors)
    assert "no column vo2_L_min, vco2_L_min" in words
    assert "unit '1'" in words and "did you mean 'gross_efficiency_pct'?" in words


def test_a_derived_outcome_needs_its_rules_declared(tiny):
    declare(tiny, metabolism="")
    with pytest.raises(Refusals, match=r"no \[metabolism\] table"):
        read_settings(tiny.root / "study.toml")


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        ('intensities = ["esy"]', "did you mean 'easy'"),
        ('intensities = ["easy", "easy"]', "each once"),
        ("intensities = []", "intensities"),
        ('intensities = "easy"', "a list in square brackets"),
    ],
)
def test_an_outcome_names_intensities_that_there_are(tiny, declared, words):
    declare(tiny, EFFICIENCY + declared + "\n")
    with pytest.raises(Refusals, match=re.escape(words)):
        read_settings(tiny.root / "study.toml")


def test_delta_efficiency_wants_two_intensities(tiny):
    outcome = EFFICIENCY.replace("gross_efficiency_pct", "delta_efficiency_pct")
    declare(tiny, outcome + 'intensities = ["easy"]\n')
    add_columns(tiny, vo2_L_min="3.0", vco2_L_min="2.7")
    assert any("the slope of power between them" in str(problem) for problem in open_study(tiny.root).errors)


def test_delta_efficiency_of_a_period_is_the_slope_over_its_steady_trials():
    # Brockway at a ratio of 0.90 gives 20.639 kJ a litre: 2, 2.5 and 3 L/min are 687.97, 859.96 and 1031.95 W.
    ridden = [
        trial(vo2_L_min=vo2, vco2_L_min=0.9 * vo2, intensity=name)
        for vo2, name in ((2.0, "easy"), (2.5, "steady"), (3.0, "hard"))
    ]
    found = derive_delta(ridden, [100.0, 143.0, 186.0], RULES)
    assert (
        found.value == pytest.approx(100 * 43 / 171.992, rel=1e-4)
        and found.note == "slope over 3 intensities"
    )
    ridden[2].vco2_L_min = 3.1
    without = derive_delta(ridden, [100.0, 143.0, 300.0], RULES)
    assert without.value == pytest.approx(found.value) and without.note.endswith("without hard")
    alone = derive_delta(ridden, [100.0, math.nan, 186.0], RULES)
    assert math.isnan(alone.value) and "two different powers" in alone.note and "steady, hard" in alone.note
