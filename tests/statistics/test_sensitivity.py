"""Trend, interaction and leaving one rider out, against general libraries and by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.multivariate.manova import MANOVA
from statsmodels.stats.multivariate import test_mvmean as mean_vector_test

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.sensitivity import interaction, leave_one_out, trend

# Perspiration of 20 women: sweat rate, sodium, potassium. Johnson & Wichern, Applied Multivariate Statistical
# Analysis, Table 5.1 (typed from memory); example 5.2 tests the mean (4, 50, 10): T² = 9.74.
SWEAT = np.array([
    (3.7, 48.5, 9.3), (5.7, 65.1, 8.0), (3.8, 47.2, 10.9), (3.2, 53.2, 12.0), (3.1, 55.5, 9.7),
    (4.6, 36.1, 7.9), (2.4, 24.8, 14.0), (7.2, 33.1, 7.6), (6.7, 47.4, 8.5), (5.4, 54.1, 11.3),
    (3.9, 36.9, 12.7), (4.5, 58.8, 12.3), (3.5, 27.8, 9.8), (4.5, 40.2, 8.4), (1.5, 13.5, 10.1),
    (8.5, 56.4, 7.1), (4.5, 71.6, 8.2), (6.5, 52.8, 10.9), (4.1, 44.1, 11.2), (5.5, 40.9, 9.4),
])  # fmt: skip


def as_contrasts(wide, sequences=None, intensities=None):
    """A row of numbers a rider, one a intensity, as a contrast table with the overall mean."""
    wide = np.asarray(wide, dtype=float)
    names = list(intensities or [f"level {k}" for k in range(wide.shape[1])])
    sequences = sequences or ["AB"] * len(wide)
    rows = [
        (f"R{i:02d}", sequences[i], name, value)
        for i, values in enumerate(wide)
        for name, value in zip([*names, "overall"], [*values, values.mean()], strict=True)
    ]
    return pd.DataFrame(rows, columns=["rider", "sequence", "intensity", "contrast"]), names


def test_interaction_of_one_sequence_is_hotellings_test_of_the_differences():
    # Running sums make the successive differences equal the published deviations
    deviations = SWEAT - [4, 50, 10]
    wide = np.column_stack([np.zeros(20), np.cumsum(deviations, axis=1)])
    contrasts, names = as_contrasts(wide)
    test = interaction(contrasts, names)
    t_squared = test.f * 19 * 3 / 17
    assert t_squared == pytest.approx(9.74, abs=0.005)
    assert (test.df_numerator, test.df_denominator) == (3, 17)
    expected = mean_vector_test(SWEAT, [4, 50, 10])
    assert (test.f, test.p) == pytest.approx((expected.statistic, expected.pvalue), rel=1e-9)


def test_interaction_of_two_sequences_is_the_intercept_of_a_multivariate_regression():
    rng = np.random.default_rng(2)
    wide, sequences = rng.normal(size=(9, 3)).cumsum(axis=1), ["AB"] * 5 + ["BA"] * 4
    contrasts, names = as_contrasts(wide, sequences)
    test = interaction(contrasts, names)
    coding = np.column_stack([np.ones(9), [1.0] * 5 + [-1.0] * 4])
    table = (
        MANOVA(np.diff(wide, axis=1), coding)
        .mv_test([("mean", np.array([[1.0, 0.0]]))])
        .results["mean"]["stat"]
    )
    row = table.loc["Hotelling-Lawley trace"]
    assert (test.f, test.p) == pytest.approx((float(row["F Value"]), float(row["Pr > F"])), rel=1e-9)
    assert "F(2, 6)" in test.sentence()


def test_interaction_of_two_intensities_is_a_paired_t():
    rng = np.random.default_rng(3)
    wide = rng.normal(size=(8, 2))
    contrasts, names = as_contrasts(wide)
    test, expected = interaction(contrasts, names), stats.ttest_rel(wide[:, 0], wide[:, 1])
    assert (test.f, test.p) == pytest.approx((expected.statistic**2, expected.pvalue))


def test_trend_by_hand_and_by_regression():
    wide = np.array([[1.0, 2.0, 3.0], [0.0, 3.0, 5.0], [2.0, 1.0, 4.0], [1.0, 1.0, 1.5]])
    contrasts, names = as_contrasts(wide, ["AB", "AB", "BA", "BA"])
    slopes = [stats.linregress([0, 1, 2], row).slope for row in wide]
    assert slopes == pytest.approx([1.0, 2.5, 1.0, 0.25])
    estimate = trend(contrasts, names, unit="W")
    assert estimate.value == pytest.approx((1.75 + 0.625) / 2)
    assert estimate.df == 2 and estimate.unit == "W per step of intensity"


def test_trend_reads_numeric_labels_and_given_scores():
    contrasts, names = as_contrasts([[1.0, 2.0, 3.0], [1.0, 2.0, 3.2]], intensities=[100, 200, 300])
    assert trend(contrasts, names).value == pytest.approx((0.01 + 0.011) / 2)
    assert trend(contrasts, names, scores=[0, 1, 2]).value == pytest.approx((1 + 1.1) / 2)


def test_trend_leaves_incomplete_riders_out():
    contrasts, names = as_contrasts([[1.0, 2.0], [1.0, 3.0], [9.0, 90.0]])
    incomplete = contrasts[
        ~((contrasts["rider"] == "R02") & contrasts["intensity"].isin(["level 1", "overall"]))
    ]
    assert trend(incomplete, names).value == pytest.approx(1.5)
    assert trend(incomplete, names).n == 2


def test_leave_one_out_by_hand():
    contrasts, _ = as_contrasts([[1.0], [3.0], [5.0], [8.0]])
    frame = leave_one_out(contrasts[contrasts["intensity"] == "overall"])
    assert frame["rider"].tolist() == ["R00", "R01", "R02", "R03"]
    assert frame["estimate"].tolist() == pytest.approx([16 / 3, 14 / 3, 4, 3])
    expected = stats.ttest_1samp([1.0, 3.0, 5.0], 0)
    assert (frame["t"].iloc[-1], frame["p"].iloc[-1]) == pytest.approx((expected.statistic, expected.pvalue))
    assert frame["df"].eq(2).all() and frame["note"].eq("").all()


def test_leave_one_out_says_when_a_sequence_or_the_study_is_lost():
    contrasts, _ = as_contrasts([[1.0], [3.0], [5.0]], ["AB", "AB", "BA"])
    frame = leave_one_out(contrasts[contrasts["intensity"] == "overall"]).set_index("rider")
    assert frame.loc["R02", "note"] == "sequence BA is lost with this rider"
    assert frame.loc["R02", "estimate"] == pytest.approx(2.0)
    assert frame.loc["R00", "note"] == "too few riders are left" and np.isnan(frame.loc["R00", "p"])


def test_refusals():
    one, names = as_contrasts([[1.0], [2.0], [4.0]])
    with pytest.raises(Refusal, match="one intensity"):
        trend(one, names)
    with pytest.raises(Refusal, match="one intensity"):
        interaction(one, names)
    many, names = as_contrasts(np.random.default_rng(0).normal(size=(3, 5)))
    with pytest.raises(Refusal, match="3 complete riders – wanted at least 5 for 5 intensities"):
        interaction(many, names)
    copied, two_names = as_contrasts([[1.0, 2.0], [2.0, 3.0], [5.0, 6.0]])
    with pytest.raises(Refusal, match="do not vary"):
        interaction(copied, two_names)
    nothing, two_names = as_contrasts([[0.0, 0.0], [1.0, 1.0], [-1.0, -1.0]])
    with pytest.raises(Refusal, match="the same ring effect at every intensity"):
        interaction(nothing, two_names)
    for scores in ([1, 2], [1, 1, 1, 1, 1], [1, 2, 3, 4, np.nan]):
        with pytest.raises(Refusal, match="scores"):
            trend(many, names, scores=scores)
