"""Reliability, against the tables of Shrout & Fleiss, Bland & Altman and Weir, and limiting cases."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from worked_peak_flow import PEFR

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.agreement import bland_altman
from analysis_lib.statistics.mixed import fit_mixed_model
from analysis_lib.statistics.reliability import icc, turns_needed, typical_error
from analysis_lib.statistics.repeated_values import analyse_variance

# Shrout & Fleiss 1979, Psychol Bull 86:420, table 2: six subjects (rows), four judges.
SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float
)
# Weir 2005, J Strength Cond Res 19:231: two data sets, eight subjects, two trials.
WEIR_A = np.array(
    [[146, 148, 170, 90, 157, 156, 176, 205], [140, 152, 152, 99, 145, 153, 167, 218]], dtype=float
).T
WEIR_B = np.array(
    [[166, 168, 160, 150, 147, 146, 156, 155], [160, 172, 142, 159, 135, 143, 147, 168]], dtype=float
).T


def to_table(values: np.ndarray) -> pd.DataFrame:
    rows, columns = np.indices(values.shape)
    return pd.DataFrame(
        {"subject": rows.ravel(), "rater": [f"J{c}" for c in columns.ravel()], "score": values.ravel()}
    )


def forms(values: np.ndarray, level: float = 0.95) -> pd.DataFrame:
    return icc(to_table(values), "subject", "rater", "score", level).set_index("form")


def error_of(values: np.ndarray, **options):
    return typical_error(to_table(values), "subject", "rater", "score", **options)


# ---------------------------------------------------------------- intraclass correlation


def test_shrout_and_fleiss():
    # Published .17 .29 .71 .44 .62 .91 and mean squares 11.24, 32.49, 1.02, 6.26; more digits from R's psych
    frame = forms(SHROUT_FLEISS)
    assert list(frame.index) == ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"]
    assert frame.icc.to_numpy() == pytest.approx([0.17, 0.29, 0.71, 0.44, 0.62, 0.91], abs=0.005)
    assert frame.icc.to_numpy() == pytest.approx(
        [0.1657418, 0.2897638, 0.7148407, 0.4427971, 0.6200505, 0.9093155], abs=5.1e-8
    )
    for form, bounds in {
        "ICC(1,1)": (-0.1329323, 0.7225601),
        "ICC(2,1)": (0.0187865, 0.7610844),
        "ICC(3,1)": (0.3424648, 0.9458583),
    }.items():
        assert (frame.low[form], frame.high[form]) == pytest.approx(bounds, abs=5.1e-8)
    squares = analyse_variance(SHROUT_FLEISS)
    shown = (squares.subjects, squares.columns, squares.error, squares.within)
    assert shown == pytest.approx((11.24, 32.49, 1.02, 6.26), abs=0.005)


def test_every_column_of_another_implementation():
    pingouin = pytest.importorskip("pingouin")
    theirs = pingouin.intraclass_corr(to_table(SHROUT_FLEISS), "subject", "rater", "score")
    ours = forms(SHROUT_FLEISS)
    order = ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"]
    theirs = theirs.set_axis(order, axis=0)
    assert ours.icc.to_numpy() == pytest.approx(theirs["ICC"].to_numpy(float), rel=1e-9)
    assert ours.f.to_numpy() == pytest.approx(theirs["F"].to_numpy(float), rel=1e-9)
    bounds = np.array([list(pair) for pair in theirs["CI95"]], dtype=float)
    assert ours[["low", "high"]].to_numpy() == pytest.approx(bounds, abs=0.0051)  # printed to two decimals


def test_weir_sets_with_the_same_error_and_another_spread_of_subjects():
    # Weir 2005: ICC .95 and .55; digits recomputed in R
    for values, expected in ((WEIR_A, (0.9501, 0.9500, 0.9470)), (WEIR_B, (0.5589, 0.5527, 0.5377))):
        shown = forms(values).icc[["ICC(1,1)", "ICC(2,1)", "ICC(3,1)"]].to_numpy()
        assert shown == pytest.approx(expected, abs=5.1e-5)
    assert analyse_variance(WEIR_A).subjects == pytest.approx(2098.5, abs=0.05)
    assert analyse_variance(WEIR_B).subjects == pytest.approx(189.96, abs=0.005)
    for values in (WEIR_A, WEIR_B):
        squares = analyse_variance(values)
        assert (squares.columns, squares.error) == pytest.approx((30.25, 57.11), abs=0.005)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10**6), st.integers(3, 12), st.integers(2, 5))
def test_means_of_k_follow_spearman_and_brown(seed, n, k):
    rng = np.random.default_rng(seed)
    values = rng.normal(0, 1.5, (n, 1)) + rng.normal(0, 1, k) + rng.normal(0, 1, (n, k))
    frame = forms(values)
    for form in "123":
        single, mean = frame.loc[f"ICC({form},1)"], frame.loc[f"ICC({form},k)"]
        for column in ("icc", "low", "high"):
            below = 1 + (k - 1) * single[column]
            stepped_up = k * single[column] / below if below > 0 else -math.inf
            assert mean[column] == pytest.approx(stepped_up, rel=1e-9, abs=1e-9)
        assert single.low <= single.icc <= single.high
    narrow, wide = forms(values, 0.5), forms(values, 0.99)
    assert (wide.low <= narrow.low).all() and (narrow.high <= wide.high).all()


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10**6))
def test_agreement_is_a_ratio_of_variance_components(seed):
    # McGraw & Wong 1996: subject variance over the sum of all, by the mixed model with crossed subjects and
    # raters
    values = SHROUT_FLEISS + np.random.default_rng(seed).normal(0, 1, SHROUT_FLEISS.shape)
    table = to_table(values)
    groups = {"subject": table.subject, "rater": table.rater}
    model = fit_mixed_model(table.score, pd.DataFrame({"1": np.ones(len(table))}), groups)
    assume(not model.singular)
    variances = model.variance_components
    assert forms(values).icc["ICC(2,1)"] == pytest.approx(
        variances["subject"] / sum(variances.values()), rel=1e-6
    )


def test_a_shift_of_one_rater_lowers_agreement_but_not_consistency():
    shifted = WEIR_A + np.array([0.0, 40.0])
    before, after = forms(WEIR_A).icc, forms(shifted).icc
    assert after["ICC(3,1)"] == pytest.approx(before["ICC(3,1)"], rel=1e-12)
    assert after["ICC(2,1)"] < before["ICC(2,1)"] - 0.2
    assert after["ICC(1,1)"] < after["ICC(2,1)"]


def test_interval_is_read_in_words():
    # Koo & Li 2016, J Chiropr Med 15:155: below 0.5 poor, to 0.75 moderate, to 0.9 good, above excellent
    frame = forms(SHROUT_FLEISS)
    assert frame.reading["ICC(2,1)"] == "poor to good"
    assert frame.reading["ICC(3,k)"] == "moderate to excellent"
    assert forms(WEIR_A, level=0.2).reading["ICC(3,1)"] == "excellent"
    assert "agreement" in frame.use["ICC(2,1)"] and "consistency" in frame.use["ICC(3,1)"]


# ---------------------------------------------------------------- typical error


def test_weir_typical_error_and_minimal_difference():
    # Weir 2005: SEM 7.6, minimal difference 21; digits recomputed in R
    for values in (WEIR_A, WEIR_B):
        result = error_of(values, unit="W")
        assert result.value == pytest.approx(7.5569, abs=5e-5)
        assert result.minimal_detectable_change == pytest.approx(20.947, abs=5e-4)
        assert (result.df, result.n, result.k) == (7, 8, 2)


def test_children_blowing_four_times():
    # Bland & Altman 1996, BMJ 313:744: peak expiratory flow (L/min) of 20 children, typed from memory; the
    # published sums of squares, 285318.44 and 27631.25, come out of it. Residual mean square 460.52 on 60
    # df, SD 21.5.
    blows = """190 220 200 200 / 220 200 240 230 / 260 260 240 280 / 210 300 280 265 / 270 265 280 270 /
    280 280 270 275 / 260 280 280 300 / 275 275 275 305 / 280 290 300 290 / 320 290 300 290 /
    300 300 310 300 / 270 250 330 370 / 320 330 330 330 / 335 320 335 375 / 350 320 340 365 /
    360 320 350 345 / 330 340 380 390 / 335 385 360 370 / 400 420 425 420 / 430 460 480 470"""
    values = np.array([row.split() for row in blows.split("/")], dtype=float)
    assert analyse_variance(values).subjects * 19 == pytest.approx(285318.44, abs=5e-3)
    result = error_of(values, trial_effect=False)
    assert result.sd**2 * result.df == pytest.approx(27631.25, abs=1e-6)
    assert result.df == 60
    assert result.sd**2 == pytest.approx(460.52, abs=5e-3)
    assert result.value == pytest.approx(21.46, abs=5e-3)


def test_repeatability_of_peak_flow_meters():
    # Bland & Altman, Lancet 1986;i:307: coefficients 43.2 and 56.4 (2 SD), within-subject SD 15.3 and 19.9
    # L/min
    for meter, within, coefficient in (("wright", 15.307, 43.294), ("mini", 19.911, 56.316)):
        result = error_of(PEFR[[meter, f"{meter}2"]].to_numpy(float), trial_effect=False)
        assert result.value == pytest.approx(within, abs=5e-4)
        assert result.repeatability_coefficient == pytest.approx(coefficient, abs=5e-4)


def test_each_observer_of_blood_pressure(read_worked):
    # Bland & Altman, Stat Methods Med Res 1999;8:135, 85 subjects, three readings each: within-subject variances
    # 37.408 (J) and 83.141 (monitor S) are printed; 37.980 (R) and more digits recomputed
    table = read_worked("ba1999_sbp_long.csv")
    for observer, variance in (("J", 37.4078), ("R", 37.9804), ("S", 83.1412)):
        rows = table[table.meth == observer]
        result = typical_error(rows, "item", "repl", "y", trial_effect=False)
        assert result.sd**2 == pytest.approx(variance, abs=5.1e-5)
        assert result.df == 170


@settings(deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 30))
def test_two_trials_give_the_sd_of_differences_over_root_two(seed, n):
    # Hopkins 2000, Sports Med 30:1
    rng = np.random.default_rng(seed)
    values = rng.normal(300, 30, (n, 1)) + rng.normal(0, 6, (n, 2)) + [0, 5]
    result = error_of(values)
    difference = values[:, 1] - values[:, 0]
    assert result.value == pytest.approx(difference.std(ddof=1) / 2**0.5, rel=1e-9)
    assert result.minimal_detectable_change == pytest.approx(1.96 * difference.std(ddof=1), rel=1e-9)
    limits = bland_altman(values[:, 1], values[:, 0])
    assert result.minimal_detectable_change == pytest.approx((limits.upper - limits.lower) / 2, rel=1e-9)


# Percentage points of chi-square: 2.5 % and 97.5 %, Fisher & Yates, Statistical Tables, Table IV (from
# memory).
@pytest.mark.parametrize(("n", "low_point", "high_point"), [(11, 3.247, 20.483), (21, 9.591, 34.170)])
def test_interval_by_tabled_chi_square(n, low_point, high_point):
    rng = np.random.default_rng(n)
    result = error_of(rng.normal(0, 1, (n, 1)) + rng.normal(0, 1, (n, 2)))
    interval = result.interval(0.95)
    assert interval.low == pytest.approx(result.value * math.sqrt((n - 1) / high_point), rel=2e-4)
    assert interval.high == pytest.approx(result.value * math.sqrt((n - 1) / low_point), rel=2e-4)


def test_ratio_scale_gives_the_coefficient_of_variation():
    # Hopkins 2000: CV = 100 (exp(s) − 1), s from logarithms; it does not depend on the unit
    rng = np.random.default_rng(3)
    values = np.exp(rng.normal(5.6, 0.2, (15, 1)) + rng.normal(0, 0.03, (15, 2)))
    result, in_kilo = error_of(values, scale="ratio", unit="W"), error_of(values / 1000, scale="ratio")
    s = np.log(values[:, 1] / values[:, 0]).std(ddof=1) / 2**0.5
    assert result.value == pytest.approx(100 * (math.exp(s) - 1), rel=1e-9)
    assert result.minimal_detectable_change == pytest.approx(
        100 * (math.exp(1.96 * 2**0.5 * s) - 1), rel=1e-9
    )
    assert (in_kilo.value, in_kilo.unit) == (pytest.approx(result.value), "%")
    assert result.interval().low < result.value < result.interval().high


def test_sentence_reads_as_a_report_would():
    assert error_of(WEIR_A, unit="W").sentence() == (
        "Typical error 7.6 W (95 % interval 5.0 to 15.4; n = 8, 2 trials, df = 7; mean change between trials"
        " left out); smallest detectable change of one subject 20.9 W."
    )


# ---------------------------------------------------------------- turns


def test_turns_needed_by_the_t_table():
    # t(17, 97.5 %) = 2.110 and t(16) = 2.120 (Fisher & Yates, Table III, from memory): 2.110/√18 < 0.5 <
    # 2.120/√17
    assert turns_needed(3.0, 1.5) == 18
    # Many turns: the normal quantile, (1.959964 · 10)² = 384.1, plus about two for t
    assert turns_needed(10.0, 1.0) == pytest.approx(386, abs=1)
    assert turns_needed(10.0, 1.0, independent_share=0.25) == 4 * turns_needed(10.0, 1.0)
    assert turns_needed(1.0, 1e6) == 2


@settings(deadline=None)
@given(st.floats(0.01, 100), st.floats(0.01, 10), st.floats(0.5, 0.99))
def test_turns_needed_are_enough_and_not_one_too_many(ratio, margin, level):
    n = turns_needed(ratio * margin, margin, level)
    assert stats.t.ppf((1 + level) / 2, n - 1) * ratio / math.sqrt(n) <= 1 + 1e-12
    assert n == 2 or stats.t.ppf((1 + level) / 2, n - 2) * ratio / math.sqrt(n - 1) > 1 - 1e-12


# ---------------------------------------------------------------- refusals


def spoil(**columns) -> pd.DataFrame:
    return to_table(WEIR_A).assign(**columns)


SCORES = to_table(WEIR_A).score


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (to_table(WEIR_A).drop(columns="rater"), "no column 'rater'"),
        (to_table(WEIR_A).iloc[1:], "subject 0 – got a missing value"),
        (spoil(score=SCORES.where(SCORES != 205)), "row 15 of column 'score'"),
        (spoil(score=SCORES.astype(object).where(SCORES != 205, "two hundred")), "two hundred"),
        (spoil(rater="J0"), "two values for 0"),
        (to_table(WEIR_A[:1]), "two or more each way"),
        (to_table(np.repeat(WEIR_A[:, :1], 2, axis=1)), "copied"),
    ],
)
def test_tables_that_cannot_be_judged_are_refused(table, words):
    for judge in (icc, typical_error):
        with pytest.raises(Refusal) as refused:
            judge(table, "subject", "rater", "score")
        assert words in str(refused.value)


def test_other_refusals():
    same = to_table(np.array([[1.0, 2.0], [2.0, 1.0]]))
    with pytest.raises(Refusal, match="do not differ"):
        icc(same, "subject", "rater", "score")
    with pytest.raises(Refusal, match="positive values for ratios"):
        error_of(WEIR_A - 100, scale="ratio")
    with pytest.raises(Refusal, match="scale"):
        error_of(WEIR_A, scale="log")
    for wrong in ((0.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, 1.5), (1.0, 1.0, 0.0), (math.nan, 1.0, 1.0)):
        with pytest.raises(Refusal, match="turns needed"):
            turns_needed(wrong[0], wrong[1], independent_share=wrong[2])
