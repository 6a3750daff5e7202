"""Simulated plans, against the analysis that they stand for, exact power and the clock."""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.designs import spell_design
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.simulated_riders import Beliefs, draw_contrasts, draw_values
from analysis_lib.statistics.simulation import sequence_adjusted_t, simulate_plan
from analysis_lib.statistics.statistical_power import contrast_sd, difference_power, equivalence_power

ABBA = spell_design("ABBA/BAAB")
MESSY = Beliefs(trial_sd=2.0, response_sd=1.0, period_sd=1.5, dropout=0.3, lost=0.1)


def to_trials(values: np.ndarray, second: np.ndarray, sequence: np.ndarray) -> pd.DataFrame:
    """One simulated study as the table of trials that a user has."""
    riders, periods = np.indices(values.shape)
    names = np.array(list(ABBA))[sequence]
    return pd.DataFrame(
        {
            "rider": [f"R{r}" for r in riders.ravel()],
            "sequence": names[riders.ravel()],
            "period": periods.ravel() + 1,
            "ring": np.where(second.ravel(), "oval", "round"),
            "intensity": "250 W",
            "y": values.ravel(),
        }
    ).dropna(subset=["y"])


STUDIES, SEED, SEQUENCE = 40, 4, np.arange(9) % 2


@pytest.fixture(scope="module")
def effects():
    """Simulated studies, each analysed as a user's own."""
    second = np.array([[ring == "oval" for ring in order] for order in ABBA.values()])[SEQUENCE]
    values = draw_values(second, 1.0, MESSY, STUDIES, np.random.default_rng(SEED))
    return [ring_effect(to_trials(study, second, SEQUENCE), "y").overall for study in values]


def test_each_simulated_study_is_analysed_as_the_real_one(effects):
    contrasts = draw_contrasts(ABBA, SEQUENCE, 1.0, MESSY, STUDIES, np.random.default_rng(SEED))
    found = zip(*sequence_adjusted_t(contrasts, SEQUENCE), effects, strict=True)
    for value, se, df, overall in found:
        assert (value, se, df) == pytest.approx((overall.value, overall.se, overall.df), rel=1e-9)


def test_verdicts_are_those_of_the_real_study(effects):
    plan = simulate_plan(ABBA, 9, 1.0, MESSY, smallest_effect=2.0, studies=STUDIES, seed=SEED)
    words = [judge(effect, 2.0).word for effect in effects]
    assert plan.verdicts == pytest.approx({word: words.count(word) / STUDIES for word in plan.verdicts})
    assert plan.power == pytest.approx(np.mean([effect.p < 0.05 for effect in effects]))
    held = [effect.interval().low <= 1.0 <= effect.interval().high for effect in effects]
    assert plan.coverage == pytest.approx(np.mean(held))
    assert plan.mean_riders == pytest.approx(np.mean([effect.n for effect in effects]))


@pytest.mark.parametrize(("riders", "response_sd"), [(8, 0.0), (13, 0.5), (20, 1.0)])
def test_power_without_drop_outs_is_exact(riders, response_sd):
    plan = simulate_plan(
        ABBA,
        riders,
        0.9,
        Beliefs(1.0, response_sd, period_sd=3.0),
        smallest_effect=2.0,
        studies=40_000,
        seed=riders,
    )
    sd = contrast_sd(1.0, 2, response_sd)
    exact = difference_power(0.9, sd, riders, 2)
    assert abs(plan.power - exact) < 4 * plan.power_se
    shown = equivalence_power(0.9, -2, 2, sd, riders, 2)
    assert plan.verdicts["equivalent"] == pytest.approx(shown, abs=4 * 0.5 / 200)
    assert plan.coverage == pytest.approx(0.95, abs=4 * 0.0011)
    assert plan.mean_riders == riders and plan.not_analysable == 0


def test_type_one_error_and_coverage_stay_with_drop_outs():
    plan = simulate_plan(ABBA, 12, 0.0, Beliefs(1.0, 0.5, dropout=0.2, lost=0.05), studies=40_000, seed=1)
    assert plan.power == pytest.approx(0.05, abs=4 * 0.0011)
    assert plan.coverage == pytest.approx(1 - plan.power, abs=1e-12)
    # A third of the leavers in ABBA leave after one period, on one ring only: 1 − 0.2/3, less what is lost
    assert 12 * (1 - 0.2 / 3) - 0.25 < plan.mean_riders < 12 * (1 - 0.2 / 3)


def test_drop_outs_cost_power():
    full, gaps = (
        simulate_plan(ABBA, 12, 1.0, Beliefs(1.0, dropout=share), studies=8000) for share in (0, 0.4)
    )
    assert gaps.power < full.power - 5 * full.power_se
    assert gaps.mean_se > full.mean_se


def test_a_study_that_loses_its_riders_is_undecided():
    plan = simulate_plan(ABBA, 3, 5.0, Beliefs(1.0, dropout=0.9), smallest_effect=1.0, studies=4000)
    assert plan.not_analysable > 0.05
    assert sum(plan.verdicts.values()) == pytest.approx(1)
    assert plan.verdicts["undecided"] >= plan.not_analysable
    none = simulate_plan(ABBA, 3, 5.0, Beliefs(1.0, lost=0.999), studies=20)
    assert none.power == 0 and math.isnan(none.coverage) and none.not_analysable == 1


def test_the_seed_decides():
    one, same, other = (
        simulate_plan(ABBA, 8, 1.0, Beliefs(1.0), studies=500, seed=seed) for seed in (1, 1, 2)
    )
    assert one == same
    assert one.mean_se != other.mean_se


def test_2000_studies_take_less_than_20_seconds():
    start = time.perf_counter()
    simulate_plan(spell_design("ABBA/BAAB/AABB/BBAA"), 40, 1.0, MESSY, smallest_effect=1.0, studies=2000)
    assert time.perf_counter() - start < 20


def test_sentence_reads_as_a_report_would():
    plan = simulate_plan(ABBA, 12, 0.0, Beliefs(1.0), smallest_effect=1.5, studies=400, seed=5)
    assert plan.sentence().startswith(
        "400 simulated studies of 12 riders with a true effect of 0: zero excluded in 0.0"
    )
    assert "12.0 riders analysed on average; difference" in plan.sentence()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Beliefs(0.0), "positive trial_sd"),
        (lambda: Beliefs(1.0, response_sd=-1), "positive trial_sd"),
        (lambda: Beliefs(1.0, dropout=10), "shares"),
        (lambda: simulate_plan(spell_design("AB/BA/AA/BB"), 12, 1, Beliefs(1.0)), "sequence AA"),
        (lambda: simulate_plan({"AB": ("a", "b"), "BA": ("b", "a")}, 12, 1, Beliefs(1.0)), "sequence AB"),
        (lambda: simulate_plan(ABBA, 2, 1, Beliefs(1.0)), "2 riders in 2 sequences"),
        (lambda: simulate_plan(ABBA, 12, 1, Beliefs(1.0), studies=0), "0 studies"),
        (lambda: simulate_plan(ABBA, 12, 1, Beliefs(1.0), smallest_effect=-1), "smallest effect"),
        (lambda: simulate_plan(ABBA, 12, 1, Beliefs(1.0), level=95), "confidence level"),
    ],
)
def test_impossible_plans_are_refused(call, words):
    with pytest.raises(Refusal) as refused:
        call()
    assert words in str(refused.value)
