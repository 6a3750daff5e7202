"""One contrast a rider, and the mean of sequence means."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.regression.linear_model import OLS
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.contrasts import mean_over_sequences, period_weights, rider_contrasts
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.trial_table import check_trials


def four_periods(values, order="ROOR", rider="A", intensity="easy"):
    names = {"R": "round", "O": "oval"}
    return pd.DataFrame(
        {
            "rider": rider,
            "sequence": order,
            "period": range(1, 5),
            "ring": [names[letter] for letter in order],
            "intensity": intensity,
            "y": np.array(values, dtype=float),
        }
    )


def test_contrast_by_hand():
    table = pd.concat([four_periods([10, 15, 16, 12]), four_periods([20, 30, np.nan, 22], intensity="hard")])
    contrasts, left_out = rider_contrasts(check_trials(table, "y"))
    assert contrasts["intensity"].tolist() == ["easy", "hard", "overall"]
    assert contrasts["contrast"].tolist() == [4.5, 9.0, 6.75]
    assert contrasts["periods_round"].tolist() == [2, 2, 4]
    assert contrasts["periods_oval"].tolist() == [2, 1, 3]
    assert left_out.empty


def test_riders_are_left_out_with_a_reason():
    table = pd.concat(
        [
            four_periods([10, 15, 16, 12]),
            four_periods([20, 30, 31, 22], intensity="hard"),
            four_periods([10, np.nan, np.nan, 12], rider="B"),
            four_periods([20, 30, 31, 22], rider="B", intensity="hard"),
            four_periods([np.nan, np.nan, np.nan, np.nan], rider="C"),
        ]
    )
    contrasts, left_out = rider_contrasts(check_trials(table, "y"))
    assert contrasts.groupby("intensity")["rider"].agg(list).to_dict() == {
        "easy": ["A"],
        "hard": ["A", "B"],
        "overall": ["A"],
    }
    found = {(row.rider, row.intensity): row.reason for row in left_out.itertuples()}
    assert found == {
        ("B", "easy"): "no value on the oval ring",
        ("B", "overall"): "no contrast at 1 of 2 intensities",
        ("C", "easy"): "no value on the round or the oval ring",
        ("C", "hard"): "no value on the round or the oval ring",
        ("C", "overall"): "no contrast at 2 of 2 intensities",
    }


# Paired t of published differences: weight of 15 before and after a clinic (real-statistics.com, paired sample t), and
# miles a gallon of ten cars on two fuels (W. Martin, Columbia University, Statistics W2024); both come with spm1d.
@pytest.mark.parametrize(
    ("after", "before", "t", "p"),
    [
        (
            "210 205 193 182 259 239 164 197 222 211 187 175 186 243 246",
            "197 195 191 174 236 226 157 196 201 196 181 164 181 229 231",
            6.6896995,
            1.028e-05,
        ),
        ("19 22 24 24 25 25 26 26 28 32", "16 20 21 22 23 22 27 25 27 28", 4.4721, 0.000775 * 2),
    ],
)
def test_published_pairs(after, before, t, p):
    differences = np.array(after.split(), float) - np.array(before.split(), float)
    estimate = mean_over_sequences(differences, ["one"] * len(differences), "x")
    assert estimate.t == pytest.approx(t, abs=5.1e-5 if t < 5 else 5.1e-8)
    assert estimate.p == pytest.approx(p, rel=1e-3)


@given(
    st.lists(st.integers(-50, 50), min_size=3, max_size=8),
    st.lists(st.integers(-50, 50), min_size=2, max_size=8),
    st.lists(st.integers(-50, 50), min_size=2, max_size=8),
)
def test_it_is_the_intercept_of_a_regression_in_sum_to_zero_coding(a, b, c):
    values, sequences = np.array(a + b + c, float), ["a"] * len(a) + ["b"] * len(b) + ["c"] * len(c)
    coding = {"a": (1, 1, 0), "b": (1, 0, 1), "c": (1, -1, -1)}
    fit = OLS(values, np.array([coding[name] for name in sequences], float)).fit()
    estimate = mean_over_sequences(values, sequences, "x", resolution=1e-9)
    assert estimate.value == pytest.approx(fit.params[0], abs=1e-9)
    assert estimate.se == pytest.approx(fit.bse[0], abs=1e-9)
    assert estimate.df == fit.df_resid


@pytest.mark.parametrize("values", [[1.0], [], [1.0, 2.0]])
def test_too_few_riders_are_refused(values):
    with pytest.raises(Refusal, match="more riders than sequences"):
        mean_over_sequences(values, ["AB", "BA"][: len(values)], "x")


def test_rounding_error_is_no_spread():
    values = [0.1 + 0.2, 0.3, 0.3]
    assert mean_over_sequences(values, ["a"] * 3, "x").se > 0
    assert mean_over_sequences(values, ["a"] * 3, "x", resolution=1e-15).se == 0


def test_period_effects_cancel_when_sequences_mirror_one_another():
    mirrored = pd.concat([four_periods([1, 2, 3, 4]), four_periods([1, 2, 3, 4], "ORRO", "B")])
    np.testing.assert_allclose(period_weights(check_trials(mirrored, "y")), 0, atol=1e-15)


def test_weights_of_periods_that_stay_by_hand():
    # AB alone: −1 of period 1 and +1 of period 2
    alone = two_periods([], [(1.0, 2.0), (1.0, 3.0)])
    assert period_weights(check_trials(alone, "y")).loc["one"].tolist() == [-1, 1]
    # ROOR without its second period, mirrored by a complete ORRO: the round periods cancel, the oval ones
    # leave (0 − 1/2)/2 and (1 − 1/2)/2
    gap = pd.concat([four_periods([1, np.nan, 3, 4]), four_periods([1, 2, 3, 4], "ORRO", "B")])
    assert period_weights(check_trials(gap, "y")).loc["easy"].tolist() == [0, -0.25, 0.25, 0]


def test_the_weights_say_how_far_a_period_effect_moves_the_estimate():
    rng = np.random.default_rng(4)
    tables = [
        four_periods(rng.normal(size=4), order, f"{order}{i}") for order in ("ROOR", "OORR") for i in range(3)
    ]
    table = pd.concat(tables, ignore_index=True)
    table.loc[[2, 17], "y"] = np.nan
    drift = np.array([0.0, 1.0, -2.0, 5.0])

    def estimate(frame):
        contrasts, _ = rider_contrasts(check_trials(frame, "y"))
        easy = contrasts[contrasts["intensity"] == "easy"]
        return mean_over_sequences(easy["contrast"], easy["sequence"], "x").value

    moved = estimate(table.assign(y=table["y"] + drift[table["period"] - 1])) - estimate(table)
    weights = period_weights(check_trials(table, "y")).loc["easy"].to_numpy()
    assert moved == pytest.approx(weights @ drift, abs=1e-12)
    assert abs(moved) > 0.1


# Paired data that spm1d ships with their expected t and p: weights before and after a clinic (real-statistics.com, paired
# t test), and mileage with two fuels (Columbia University, course W2024).
CLINIC = (
    [210, 205, 193, 182, 259, 239, 164, 197, 222, 211, 187, 175, 186, 243, 246],
    [197, 195, 191, 174, 236, 226, 157, 196, 201, 196, 181, 164, 181, 229, 231],
)
MILEAGE = ([19, 22, 24, 24, 25, 25, 26, 26, 28, 32], [16, 20, 21, 22, 23, 22, 27, 25, 27, 28])


@pytest.mark.parametrize(
    ("pairs", "t", "digits", "p", "p_digits"),
    # The second is printed one-sided
    [(CLINIC, 6.6896995, 5.1e-8, 1.028e-5, 5.1e-9), (MILEAGE, 4.4721, 5.1e-5, 2 * 0.000775, 1.1e-6)],
)
def test_one_sequence_is_the_paired_t_test(pairs, t, digits, p, p_digits):
    rows = [
        (f"R{rider}", "OR", period, ring, "one", y)
        for period, (ring, values) in enumerate(zip(("oval", "round"), pairs, strict=True), start=1)
        for rider, y in enumerate(values)
    ]
    table = pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])
    effect = ring_effect(table, "y").overall
    assert effect.t == pytest.approx(t, abs=digits)
    assert effect.p == pytest.approx(p, abs=p_digits)
    assert effect.df == len(pairs[0]) - 1
    # One angle alone is that t too
    one = paired_curves((np.array(pairs[0]) - np.array(pairs[1]))[:, None].astype(float))
    assert one.t[0] == pytest.approx(t, abs=digits)
