"""Limits of agreement, against Bland and Altman's own data and the limits of the formulas."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from worked_peak_flow import PEFR

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.agreement import bland_altman


def pair_up(table: pd.DataFrame, first: str, second: str) -> pd.DataFrame:
    """Long table (method, subject, repeat, value) to one row a pair."""
    wide = table.pivot_table(index=["item", "repl"], columns="meth", values="y").reset_index()
    return wide.rename(columns={first: "a", second: "b"})


def test_peak_flow_meters():
    # Published: bias −2.1 (−22.0 to 17.8), SD 38.8, r 0.94; more digits recomputed from the table (R)
    result = bland_altman(PEFR.wright, PEFR.mini, unit="L/min")
    assert result.bias == pytest.approx(-2.1176, abs=5e-5)
    assert result.sd == pytest.approx(38.7651, abs=5e-5)
    assert (result.lower, result.upper) == pytest.approx((-78.097, 73.862), abs=5e-4)
    interval = result.bias_interval
    assert (interval.low, interval.high) == pytest.approx((-22.0488, 17.8135), abs=5e-5)
    assert (result.n, result.n_pairs) == (17, 17)


def test_peak_flow_limits_are_as_sure_as_published():
    # Published intervals of the limits, −114.3 to −45.1 and 40.9 to 110.1, recomputed −114.170 to −45.126
    # and 40.891 to 109.934, have standard error sqrt(3 s²/n). The paper of 1999 has 1/n + 1.96²/(2(n − 1))
    # in place of 3/n.
    result = bland_altman(PEFR.wright, PEFR.mini)
    published = (-45.126 + 114.170) / 2
    expected = published * math.sqrt((1 + 1.96**2 * 17 / 32) / 3)
    for limit, interval in ((result.lower, result.lower_interval), (result.upper, result.upper_interval)):
        assert limit - interval.low == pytest.approx(expected, abs=1e-3)
        assert interval.high - limit == pytest.approx(expected, abs=1e-3)


def test_peak_flow_with_both_readings():
    # Bland & Altman 1986: SD of the difference of means 33.2; SD corrected for two readings 37.7 (from memory), the
    # root of 33.204² + (15.307² + 19.911²)/2
    both = bland_altman(
        [*PEFR.wright, *PEFR.wright2], [*PEFR.mini, *PEFR.mini2], [*range(17), *range(17)], "constant"
    )
    assert both.variances["differences of means"] ** 0.5 == pytest.approx(33.20, abs=5e-3)
    assert both.variances["within a"] ** 0.5 == pytest.approx(15.307, abs=5e-4)
    assert both.variances["within b"] ** 0.5 == pytest.approx(19.911, abs=5e-4)
    assert both.sd == pytest.approx(math.sqrt(33.2041**2 + (15.3067**2 + 19.9108**2) / 2), abs=2e-4)
    assert both.sd == pytest.approx(37.7, abs=0.05)


def test_peak_flow_data_are_the_shared_ones(read_worked):
    table = read_worked("ba1986_pefr_long.csv")
    for method, columns in (("Wright", ["wright", "wright2"]), ("Mini", ["mini", "mini2"])):
        for repeat, column in enumerate(columns, start=1):
            chosen = table[(table.meth == method) & (table.repl == repeat)].sort_values("item")
            assert chosen.y.tolist() == PEFR[column].tolist()


def test_blood_pressure(read_worked):
    # Bland & Altman, Stat Methods Med Res 1999;8:135: observer J and monitor S, 85 subjects, three readings
    # each. Single: −16.29, SD 19.61, −54.7 to 22.1. Three: −15.62, variances 37.408 and 83.141, 358.493,
    # 438.86, SD 20.95, limits −56.68 and 25.44.
    pairs = pair_up(read_worked("ba1999_sbp_long.csv"), "J", "S")
    first = pairs[pairs.repl == 1]
    single = bland_altman(first.a, first.b)
    assert (single.bias, single.sd) == pytest.approx((-16.2941, 19.6110), abs=5e-5)
    assert (single.lower, single.upper) == pytest.approx((-54.73, 22.14), abs=5e-3)
    # The paper's intervals of these limits, −61.9 to −47.5 and 14.9 to 29.3, from memory
    assert single.lower_interval.low == pytest.approx(-61.9, abs=0.11)
    assert single.upper_interval.high == pytest.approx(29.3, abs=0.11)
    three = bland_altman(pairs.a, pairs.b, pairs.item, true_value="constant")
    assert three.variances == pytest.approx(
        {"differences of means": 358.4925, "within a": 37.4078, "within b": 83.1412}, abs=5e-5
    )
    assert three.sd**2 == pytest.approx(438.8585, abs=5e-5)
    assert (three.bias, three.sd) == pytest.approx((-15.6196, 20.9489), abs=5.1e-5)
    assert (three.lower, three.upper) == pytest.approx((-56.6795, 25.4403), abs=5.1e-5)


def test_cardiac_output_constant_truth(read_worked):
    # Bland & Altman 1999: within 0.1072 and 0.1379, mean 0.7092, limits −1.35 and 2.77; 12 subjects, 60 pairs
    pairs = pair_up(read_worked("ba1999_cardiac_long.csv"), "RV", "IC")
    result = bland_altman(pairs.a, pairs.b, pairs.item, "constant")
    assert result.variances == pytest.approx(
        {"differences of means": 0.912691, "within a": 0.107228, "within b": 0.137874}, abs=1e-6
    )
    assert result.bias == pytest.approx(0.7092, abs=5e-5)
    assert result.sd == pytest.approx(1.051851, abs=1e-6)
    assert (result.lower, result.upper) == pytest.approx((-1.35239, 2.77086), abs=1e-5)
    assert (result.n, result.n_pairs) == (12, 60)


def test_cardiac_output_varying_truth(read_worked):
    # Bland & Altman, J Biopharm Stat 2007;17:571, the method; values recomputed in R
    pairs = pair_up(read_worked("ba1999_cardiac_long.csv"), "RV", "IC")
    result = bland_altman(pairs.a, pairs.b, pairs.item)
    assert result.bias == pytest.approx(0.602167, abs=1e-6)
    assert result.variances == pytest.approx(
        {"between subjects": 0.810622, "within subjects": 0.170714}, abs=1e-6
    )
    assert result.sd == pytest.approx(0.990624, abs=1e-6)
    assert (result.lower, result.upper) == pytest.approx((-1.33946, 2.54379), abs=1e-5)


@pytest.mark.parametrize("n", [8, 12, 20])
def test_skewed_intervals_end_near_the_exact_ones(n):
    # Exact limits of a normal quantile: s·t'(n − 1, 1.96 √n)/√n with the non-central t (e.g. Carkeet 2015)
    d = np.linspace(-1, 1, n)
    d /= d.std(ddof=1)
    a = 10 + np.arange(n)
    skewed = bland_altman(a + d, a, limit_intervals="skewed")
    symmetric = bland_altman(a + d, a)
    exact = stats.nct.ppf([0.025, 0.975], n - 1, 1.96 * math.sqrt(n)) / math.sqrt(n)
    assert skewed.upper_interval.high == pytest.approx(exact[1], abs=0.1)
    ends = [(r.upper_interval.low, r.upper_interval.high) for r in (skewed, symmetric)]
    assert (3 * np.abs(ends[0] - exact) < np.abs(ends[1] - exact)).all()
    assert skewed.lower_interval.low == pytest.approx(-skewed.upper_interval.high, abs=1e-12)


def test_both_kinds_of_interval_agree_in_large_samples():
    rng = np.random.default_rng(4)
    subject = np.repeat(np.arange(20_000), 2)
    a = rng.normal(size=40_000)
    b = a + np.repeat(rng.normal(size=20_000), 2) + rng.normal(size=40_000)
    for true_value in ("varying", "constant"):
        one, other = (
            bland_altman(a, b, subject, true_value, limit_intervals=k) for k in ("symmetric", "skewed")
        )
        assert one.upper_interval.high - one.upper == pytest.approx(
            other.upper_interval.high - other.upper, rel=0.02
        )


@settings(deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 20))
def test_swapped_methods_swap_signs_and_limits_hold_most_differences(seed, n):
    rng = np.random.default_rng(seed)
    a, b = rng.normal(300, 50, n), rng.normal(310, 50, n)
    forward, backward = bland_altman(a, b), bland_altman(b, a)
    assert forward.bias == pytest.approx(np.mean(a - b))
    assert (backward.lower, backward.upper) == pytest.approx((-forward.upper, -forward.lower))
    assert backward.lower_interval.low == pytest.approx(-forward.upper_interval.high)
    shares = ((a - b > forward.lower) & (a - b < forward.upper)).mean()
    assert shares >= 1 - 1 / 1.96**2  # Chebyshev's inequality


def test_ratios_do_not_depend_on_the_unit_and_mend_a_growing_difference():
    rng = np.random.default_rng(7)
    truth = np.geomspace(100, 400, 40)
    a, b = 1.05 * truth * np.exp(rng.normal(0, 0.03, 40)), truth * np.exp(rng.normal(0, 0.03, 40))
    ratios = bland_altman(a, b, scale="ratio", unit="W")
    in_kilo = bland_altman(a / 1000, b / 1000, scale="ratio")
    assert (ratios.bias, ratios.lower, ratios.upper) == pytest.approx(
        (in_kilo.bias, in_kilo.lower, in_kilo.upper)
    )
    assert ratios.bias == pytest.approx(stats.gmean(a / b), rel=1e-12)
    assert ratios.upper / ratios.bias == pytest.approx(math.exp(1.96 * np.log(a / b).std(ddof=1)), rel=1e-12)
    assert ratios.unit == "" and "logarithms" in ratios.method
    assert bland_altman(a, b).slope.p < 0.05 < ratios.slope.p


def test_slope_is_the_regression_of_difference_on_mean():
    result = bland_altman(PEFR.wright, PEFR.mini)
    line = stats.linregress((PEFR.wright + PEFR.mini) / 2, PEFR.wright - PEFR.mini)
    assert (result.slope.value, result.slope.p) == pytest.approx((line.slope, line.pvalue), rel=1e-9)


def test_differences_alike_between_subjects_leave_only_the_variance_within():
    a = np.array([1.0, -1, 2, -2, 1.5, -1.5]) + 10
    result = bland_altman(a, [10.0] * 6, [1, 1, 2, 2, 3, 3])
    assert np.isnan(result.slope.p)  # all subjects have the same mean, so there is no slope to find
    assert result.variances == {"between subjects": 0.0, "within subjects": pytest.approx(14.5 / 3)}
    assert "taken as 0" in result.note and result.note in result.sentence()


def test_sentence_reads_as_a_report_would():
    assert bland_altman(PEFR.wright, PEFR.mini, unit="L/min").sentence() == (
        "Difference a − b: −2.1 L/min (−22.0 to 17.8), limits of agreement −78.1 L/min (−112.9 to −43.3) and"
        " 73.9 L/min (39.1 to 108.6); 95 % intervals, n = 17, 17 pairs, one pair a subject."
    )


GOOD = {"a": [1.0, 2, 4, 4, 5, 7], "b": [1.5, 2, 3, 4, 6, 6], "subject": [*"aabbcc"]}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"b": [1.0, 2]}, "a and b – got shapes"),
        ({"a": [1, np.nan, 4, 4, 5, 7]}, "pair 2"),
        ({"a": [0.0, 2, 4, 4, 5, 7], "scale": "ratio"}, "positive"),
        ({"scale": "log"}, "scale – got 'log'"),
        ({"true_value": "fixed"}, "true_value – got 'fixed'"),
        ({"limit_intervals": "exact"}, "limit_intervals – got 'exact'"),
        ({"subject": [*"aabbb"]}, "subject – got 5 labels"),
        ({"subject": ["a", "a", "b", "b", "c", None]}, "subject, pair 6"),
        ({"subject": [*"aaabbb"]}, "2 subjects"),
        ({"subject": [*"abcdef"]}, "one pair each"),
        ({"subject": [*"aabbbc"], "true_value": "constant"}, "a subject with one pair"),
        ({"b": [0.0, 1, 3, 3, 4, 6]}, "the same difference"),
        ({"level": 95}, "confidence level"),
    ],
)
def test_what_cannot_be_compared_is_refused(change, words):
    with pytest.raises(Refusal) as refused:
        bland_altman(**(GOOD | change))
    assert words in str(refused.value)
