"""Mixed models whose groups differ in slope, against published fits and exact answers of balanced data."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.mixed import fit_mixed_model

BOTH = pytest.mark.parametrize("df_method", ["kenward-roger", "satterthwaite"])


def fit(table: pd.DataFrame, df_method="kenward-roger", correlate=True, **changed):
    x = pd.DataFrame({"1": 1.0, "days": table.Days})
    arguments = {"groups": {"subject": table.Subject}, "slopes": {"subject": table.Days}} | changed
    return fit_mixed_model(table.Reaction, x, df_method=df_method, slopes_correlate=correlate, **arguments)


# Reaction times of 18 subjects over ten days without sleep, Belenky et al. 2003, as in lme4.


@BOTH
def test_sleepstudy_with_correlated_slopes(read_worked, df_method):
    # Bates, Mächler, Bolker & Walker 2015, J Stat Softw 67(1), sec. 2: 251.405 (6.825), 10.467 (1.546), SD 24.74,
    # 5.92, correlation 0.07, residual 25.59, REML criterion 1743.6. Kuznetsova, Brockhoff & Christensen 2017,
    # J Stat Softw 82(13): 17 df. More digits from R (lmerTest, pbkrtest), whose search stops within 1e-5.
    model = fit(read_worked("sleepstudy.csv"), df_method)
    frame, found = model.to_frame(), model.variance_components
    assert frame.estimate.to_numpy() == pytest.approx([251.405105, 10.467286], abs=1e-6)
    assert frame.se.to_numpy() == pytest.approx([6.824597, 1.545790], rel=1e-5)
    assert frame.df.to_numpy() == pytest.approx([17, 17], rel=1e-7)
    deviations = [found[name] ** 0.5 for name in ("subject", "subject slope", "residual")]
    assert deviations == pytest.approx([24.74066, 5.92214, 25.59180], rel=1e-5)
    assert found["subject covariance"] / (deviations[0] * deviations[1]) == pytest.approx(0.0656, abs=6e-5)
    assert -2 * model.loglik == pytest.approx(1743.6, abs=0.05)
    assert "correlated random slopes for subject" in model.method


@BOTH
def test_correlated_slopes_of_balanced_data_are_the_subjects_own_lines(read_worked, df_method):
    # Every subject was measured on the same days, so the effects are the means of the subjects' own least-squares
    # lines, with the standard error of that mean and 17 df (exact)
    table = read_worked("sleepstudy.csv")
    lines = np.array([np.polyfit(rows.Days, rows.Reaction, 1)[::-1] for _, rows in table.groupby("Subject")])
    frame = fit(table, df_method).to_frame()
    assert frame.estimate.to_numpy() == pytest.approx(lines.mean(axis=0), rel=1e-9)
    assert frame.se.to_numpy() == pytest.approx(lines.std(axis=0, ddof=1) / np.sqrt(18), rel=1e-7)


@pytest.mark.parametrize(("df_method", "df"), [("satterthwaite", 18.156), ("kenward-roger", 18.187)])
def test_sleepstudy_with_slopes_of_their_own(read_worked, df_method, df):
    # R (lmerTest, pbkrtest) of the same with intercepts and slopes that do not correlate
    model = fit(read_worked("sleepstudy.csv"), df_method, correlate=False)
    frame = model.to_frame()
    assert frame.se.to_numpy() == pytest.approx([6.885381, 1.559569], rel=3e-6)
    assert frame.df.to_numpy() == pytest.approx([df, df], abs=5.1e-4)
    assert list(model.variance_components) == ["subject", "subject slope", "residual"]


def scattered_lines(seed: int) -> pd.DataFrame:
    """Eight subjects on their own lines, a fifth of their days missing."""
    rng = np.random.default_rng(seed)
    subject, days = np.repeat(np.arange(8), 6), np.tile(np.arange(6.0), 8)
    own = rng.multivariate_normal([0, 0], [[9, 2], [2, 4]], size=8)
    y = 250 + own[subject, 0] + (3 + own[subject, 1]) * days + rng.normal(size=48)
    table = pd.DataFrame({"Subject": subject, "Days": days, "Reaction": y})
    return table[rng.random(48) > 0.2].reset_index(drop=True)


def write_loglik(table: pd.DataFrame, variances) -> float:
    """The restricted likelihood once more, dense and from its definition."""
    intercept, slope, covariance, residual = variances
    z = np.column_stack([np.ones(len(table)), table.Days])
    same = np.equal.outer(table.Subject.to_numpy(), table.Subject.to_numpy())
    spread = np.array([[intercept, covariance], [covariance, slope]])
    v = same * (z @ spread @ z.T) + residual * np.eye(len(table))
    inverse = np.linalg.inv(v)
    information = z.T @ inverse @ z
    rest = table.Reaction - z @ np.linalg.solve(information, z.T @ inverse @ table.Reaction)
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    return float(-0.5 * ((len(table) - 2) * np.log(2 * np.pi) + logs + rest @ inverse @ rest))


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10**6))
def test_no_other_variances_and_covariance_are_likelier(seed):
    table = scattered_lines(seed)
    try:
        model = fit(table)
    except Refusal:
        reject()
    found = model.variance_components
    best = np.array([found[f"subject{part}"] for part in ("", " slope", " covariance")] + [found["residual"]])
    assert model.loglik == pytest.approx(write_loglik(table, best), rel=1e-10)
    rng = np.random.default_rng(seed)
    for spread in (1e-3, 0.05, 0.3):
        for _ in range(8):
            other = best * np.exp(spread * rng.normal(size=4))
            if other[2] ** 2 < other[0] * other[1]:
                assert write_loglik(table, other) <= model.loglik + 1e-9


@BOTH
@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10**6))
def test_the_zero_and_unit_of_what_slopes_are_by_change_nothing(df_method, seed):
    # With a correlation the model is the same wherever days are counted from
    table = scattered_lines(seed)
    hours = table.assign(Days=24 * table.Days - 50)
    try:
        one = fit(table, df_method)
    except Refusal:  # in a few draws the likeliest correlation is 1
        reject()
    other = fit(hours, df_method)
    slope, again = one.contrast({"days": 1}), other.contrast({"days": 24})
    assert (again.value, again.se, again.df) == pytest.approx((slope.value, slope.se, slope.df), rel=1e-5)
    assert other.variance_components["subject slope"] * 24**2 == pytest.approx(
        one.variance_components["subject slope"], rel=1e-5
    )


def test_what_cannot_be_a_slope_is_refused():
    table = scattered_lines(1)
    for slopes, words in (
        ({"rider": table.Days}, "'rider'"),
        ({"subject": table.Days[:5]}, "5 numbers"),
        ({"subject": np.ones(len(table))}, "over and over"),
        ({"subject": np.full(len(table), np.nan)}, "slope of 'subject', row 1"),
    ):
        with pytest.raises(Refusal, match=words):
            fit(table, slopes=slopes)
    # Subjects on parallel lines: no slope variance, so no correlation
    parallel = table.assign(
        Reaction=table.Subject + 3 * table.Days + np.random.default_rng(3).normal(size=len(table))
    )
    with pytest.raises(Refusal, match="slopes_correlate=False"):
        fit(parallel)
    assert fit(parallel, correlate=False).singular
