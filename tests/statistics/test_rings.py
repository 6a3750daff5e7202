"""Several rings against the round one, with Dunnett's tables and sums of squares by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from scipy import stats
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import rings_effect
from analysis_lib.statistics.rings import critical_t

WILLIAMS = ["ABC", "BCA", "CAB", "CBA", "ACB", "BAC"]
RINGS = ("round", "oval 1.1", "oval 1.2")


def williams(copies=2, seed=1, intensities=("easy",)):
    rng = np.random.default_rng(seed)
    names = dict(zip("ABC", RINGS, strict=True))
    rows = []
    for i, order in enumerate(WILLIAMS * copies):
        level = 5 * rng.normal()
        for period, letter in enumerate(order, start=1):
            for intensity in intensities:
                y = level + period + {"A": 0, "B": 1, "C": 3}[letter] + rng.normal()
                rows.append((f"R{i:02d}", order, period, names[letter], intensity, y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


# Two-sided 5 % points for comparing k treatments with a control: Dunnett, Biometrics 1964;20:482, Table 2
# (from memory); the correlation is 1/2 between treatments of equal size.
@pytest.mark.parametrize(
    ("k", "df", "printed"),
    [(1, 10, 2.23), (2, 10, 2.57), (3, 10, 2.76), (2, 20, 2.38), (3, 20, 2.54), (4, 20, 2.65), (2, 60, 2.27)],
)
def test_critical_values_are_dunnetts(k, df, printed):
    correlation = np.full((k, k), 0.5) + 0.5 * np.eye(k)
    assert critical_t(correlation, df, 0.95) == pytest.approx(printed, abs=0.0051)


def test_complete_williams_design_by_sums_of_squares():
    table = williams()
    frame = rings_effect(table, "y", RINGS).to_frame()
    easy = frame[frame["intensity"] == "easy"].set_index("ring")
    # Rings are orthogonal to riders and periods: ring means, and the residual by subtraction
    means = table.groupby("ring")["y"].mean()
    grand, n = table["y"].mean(), 12
    explained = sum(
        36 / table[name].nunique() * ((table.groupby(name)["y"].mean() - grand) ** 2).sum()
        for name in ("rider", "period", "ring")
    )
    residual = ((table["y"] - grand) ** 2).sum() - explained
    df = 35 - 11 - 2 - 2
    se = np.sqrt(2 * residual / df / n)
    for ring in RINGS[1:]:
        assert easy.loc[ring, "estimate"] == pytest.approx(means[ring] - means["round"], rel=1e-9)
        assert easy.loc[ring, "se"] == pytest.approx(se, rel=1e-9)
    assert easy["df"].eq(20).all() and easy["n"].eq(12).all()
    # Dunnett's printed 2.38 for two comparisons on 20 degrees of freedom
    reach = (easy["high"] - easy["low"]) / 2
    assert (reach / easy["se"]).to_list() == pytest.approx([2.38] * 2, abs=0.0051)


def test_family_p_lies_between_the_single_p_and_bonferroni():
    frame = rings_effect(williams(copies=1, seed=4), "y", RINGS).to_frame()
    assert ((frame["p_family"] >= frame["p"]) & (frame["p_family"] <= 2 * frame["p"] + 1e-4)).all()
    inside = (frame["low"] < 0) & (frame["high"] > 0)
    assert (inside == (frame["p_family"] > 0.05)).all()


def test_two_rings_give_senns_analysis():
    # Senn 2002 ch. 3: 46.607143, SE 10.776560, 11 df, 22.888 to 70.326
    table = two_periods(worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST)
    row = rings_effect(table, "y", ("round", "oval")).to_frame().iloc[0]
    assert (row["estimate"], row["se"], row["df"]) == pytest.approx((46.607143, 10.776560, 11), rel=1e-6)
    assert (row["low"], row["high"]) == pytest.approx((22.888095, 70.326191), abs=1e-5)


def test_overall_is_the_mean_over_intensities():
    table = williams(intensities=("easy", "hard"))
    frame = rings_effect(table, "y", RINGS).to_frame().set_index(["intensity", "ring"])["estimate"]
    for ring in RINGS[1:]:
        mean = (frame["easy", ring] + frame["hard", ring]) / 2
        assert frame["overall", ring] == pytest.approx(mean, rel=1e-9)


def test_simultaneous_coverage_of_two_true_effects():
    rng = np.random.default_rng(8)
    correlation, df = np.array([[1.0, 0.5], [0.5, 1.0]]), 12
    t = stats.multivariate_t.rvs(shape=correlation, df=df, size=200_000, random_state=rng)
    inside = np.mean(np.abs(t).max(axis=1) < critical_t(correlation, df, 0.90))
    assert inside == pytest.approx(0.90, abs=4 * np.sqrt(0.9 * 0.1 / 200_000))


def test_rings_that_differ_without_any_noise_give_no_p():
    table = williams().assign(y=lambda t: t["ring"].map(dict(zip(RINGS, (0.0, 1.0, 3.0), strict=True))))
    frame = rings_effect(table, "y", RINGS).to_frame()
    assert frame["estimate"].tolist() == pytest.approx([1, 3, 1, 3])
    assert frame[["p", "p_family", "low"]].isna().all(axis=None)


def test_refusals():
    table = williams()
    with pytest.raises(Refusal, match="rings"):
        rings_effect(table, "y", ("oval 1.1", "oval 1.2"))
    with pytest.raises(Refusal, match="scale"):
        rings_effect(table, "y", RINGS, scale="ratio")
    with pytest.raises(Refusal, match="a value above 0"):
        rings_effect(table, "y", RINGS, scale="log")
    with pytest.raises(Refusal, match="linear scale"):
        rings_effect(table, "y", RINGS).ratios()
    with pytest.raises(Refusal, match="a positive number"):
        rings_effect(table, "y", RINGS).verdicts(0.0)
    with pytest.raises(Refusal, match="tell rings from periods"):
        rings_effect(table[table["sequence"] == "ABC"], "y", RINGS)
