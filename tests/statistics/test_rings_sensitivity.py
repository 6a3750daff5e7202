"""What several rings show, against an ordinary least squares fit of statsmodels' formulas and against the truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import williams_design
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.statistics.rings_sensitivity import (
    rings_alone,
    rings_carry_over,
    rings_periods,
    rings_residuals,
    rings_responses,
    rings_without_each_rider,
)

RINGS = ("round", "early", "late", "strong")
TRUE = {"round": 0.0, "early": 2.0, "late": -1.0, "strong": 4.0}
CARRIED = {"round": 0.0, "early": 1.5, "late": 0.0, "strong": -2.0}


def ridden(riders=12, noise=1.0, carried=False, lost=(), seed=3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    orders = list(williams_design(RINGS).items())
    rows = []
    for i in range(riders):
        name, order = orders[i % len(orders)]
        level = 20 * rng.normal()
        for period, ring in enumerate(order, start=1):
            y = 200 + level + 3 * period + TRUE[ring] + noise * rng.normal()
            if carried and period > 1:
                y += CARRIED[order[period - 2]]
            rows.append((f"R{i:02d}", name, period, ring, "easy", y if (i, period) not in lost else np.nan))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


@pytest.mark.parametrize("lost", [(), ((0, 4), (3, 2), (7, 1))])
def test_contrasts_omnibus_and_periods_are_those_of_a_formula(lost):
    table = ridden(lost=lost)
    effect = rings_effect(table, "y", RINGS, unit="W")
    fit = ols("y ~ C(rider) + C(period) + C(ring, Treatment('round'))", table.dropna()).fit()
    frame = effect.to_frame().set_index(["intensity", "ring"])
    for ring in RINGS[1:]:
        term = f"C(ring, Treatment('round'))[T.{ring}]"
        row = frame.loc[("easy", ring)]
        assert (row["estimate"], row["se"]) == pytest.approx((fit.params[term], fit.bse[term]), rel=1e-9)
        assert (row["df"], row["p"]) == pytest.approx((fit.df_resid, fit.pvalues[term]), rel=1e-9)
    anova = anova_lm(fit, typ=2).loc["C(ring, Treatment('round'))"]
    omnibus = effect.omnibus()["easy"]
    assert (omnibus.f, omnibus.p) == pytest.approx((anova["F"], anova["PR(>F)"]), rel=1e-8)
    assert omnibus.df_between == 3
    pair = effect.between()["easy"]["early", "strong"]
    test = fit.t_test("C(ring, Treatment('round'))[T.strong] - C(ring, Treatment('round'))[T.early] = 0")
    assert (pair.value, pair.se) == pytest.approx((test.effect.item(), test.sd.item()), rel=1e-9)
    third = rings_periods(effect)[3]
    shown = (fit.params["C(period)[T.3]"], fit.bse["C(period)[T.3]"])
    assert (third.value, third.se) == pytest.approx(shown, rel=1e-9)
    left = rings_residuals(effect)["residual"].to_numpy()
    assert left == pytest.approx(fit.resid.to_numpy(), abs=1e-9)


def test_carry_over_is_that_of_a_formula_and_finds_the_truth_without_noise():
    noisy = ridden(carried=True)
    order = dict(williams_design(RINGS))
    before = [
        order[s][p - 2] if p > 1 else "round" for s, p in zip(noisy["sequence"], noisy["period"], strict=True)
    ]
    ring, previous = (f"C({name}, Treatment('round'))" for name in ("ring", "before"))
    fit = ols(f"y ~ C(rider) + C(period) + {ring} + {previous}", noisy.assign(before=before)).fit()
    carried, direct = rings_carry_over(rings_effect(noisy, "y", RINGS))
    for name in RINGS[1:]:
        for found, term in ((carried, previous), (direct, ring)):
            shown = (fit.params[f"{term}[T.{name}]"], fit.bse[f"{term}[T.{name}]"])
            assert (found[name].value, found[name].se) == pytest.approx(shown, rel=1e-8)
    carried, direct = rings_carry_over(rings_effect(ridden(noise=0.0, carried=True), "y", RINGS))
    for name in RINGS[1:]:
        assert carried[name].value == pytest.approx(CARRIED[name], abs=1e-9)
        assert direct[name].value == pytest.approx(TRUE[name], abs=1e-9)


def test_two_rings_alone_and_riders_left_out_are_the_same_fits_of_fewer_rows():
    table = ridden()
    effect = rings_effect(table, "y", RINGS)
    # These orders put the two rings into periods 1 and 4, or 2 and 3: two pairs of periods with a step each
    pair = table[table["ring"].isin(["round", "late"])]
    pair = pair.assign(fourth=pair["period"].eq(4), third=pair["period"].eq(3))
    fit = ols("y ~ C(rider) + fourth + third + C(ring, Treatment('round'))", pair).fit()
    alone = rings_alone(effect)["easy"]["late"]
    term = "C(ring, Treatment('round'))[T.late]"
    assert (alone.value, alone.se, alone.df) == pytest.approx(
        (fit.params[term], fit.bse[term], fit.df_resid), rel=1e-9
    )
    without = rings_without_each_rider(effect).set_index(["without", "ring"])
    fewer = ols(
        "y ~ C(rider) + C(period) + C(ring, Treatment('round'))", table[table["rider"] != "R05"]
    ).fit()
    assert without.loc[("R05", "late"), "estimate"] == pytest.approx(fewer.params[term], rel=1e-9)
    assert without.index.get_level_values("without").nunique() == 12


def test_verdicts_follow_from_intervals_of_a_table_of_t():
    effect = rings_effect(ridden(), "y", RINGS)
    words = effect.verdicts(smallest_effect=3.0).set_index(["intensity", "ring"])
    frame = effect.to_frame().set_index(["intensity", "ring"])
    for ring in RINGS[1:]:
        row, word = frame.loc[("easy", ring)], words.loc[("easy", ring)]
        # three rings: each one-sided test at 0.05/3, 30 df
        reach = stats.t.isf(0.05 / 3, 30) * row["se"]
        assert (word["low_equivalence"], word["high_equivalence"]) == pytest.approx(
            (row["estimate"] - reach, row["estimate"] + reach), rel=1e-9
        )
    assert words.loc[("easy", "strong"), "verdict"] == "difference"
    assert words.loc[("easy", "late"), "verdict"] == "equivalent"
    tight = effect.verdicts(smallest_effect=0.5).set_index(["intensity", "ring"])["verdict"]
    assert tight[("easy", "late")] == (
        "difference" if frame.loc[("easy", "late"), "high"] < 0 else "undecided"
    )


@pytest.mark.long
def test_no_more_than_alpha_of_rings_on_the_bound_are_called_equivalent():
    rng = np.random.default_rng(5)
    table = ridden(noise=0.0)
    called = 0
    for _ in range(250):
        bound = table["ring"].map({"round": 0.0, "early": 1.0, "late": -1.0, "strong": 1.0})
        y = bound + 0.6 * rng.normal(size=len(table))
        words = rings_effect(table.assign(y=y), "y", RINGS).verdicts(1.0)
        called += (words[words["intensity"] == "easy"]["verdict"] == "equivalent").any()
    assert called / 250 < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 250)


def test_one_sequence_tells_no_carry_over():
    table = ridden()
    with pytest.raises(Refusal, match="rings from periods"):
        rings_effect(table[table["sequence"] == table["sequence"].iloc[0]], "y", RINGS)


def test_spread_of_response_to_each_ring_is_that_of_the_riders_themselves():
    rng = np.random.default_rng(6)
    orders = list(williams_design(RINGS[:3]).items())
    rows, own = [], []
    for i in range(18):
        name, order = orders[i % 6]
        response = dict(zip(RINGS[:3], (0.0, *(3.0 * rng.normal(size=2))), strict=True))
        own.append((name, response["early"], response["late"]))
        for period, ring in enumerate(order + order[::-1], start=1):
            y = 200 + 10 * i + 2 * period + response[ring] + 0.02 * rng.normal()
            rows.append((f"R{i:02d}", name + name[::-1], period, ring, "easy", y))
    table = pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])
    found = rings_responses(rings_effect(table, "y", RINGS[:3], unit="W"))
    truth = pd.DataFrame(own, columns=["sequence", "early", "late"]).groupby("sequence")
    for ring in ("early", "late"):
        # Between riders of one sequence, pooled: what is left when period effects are taken out
        pooled = np.sqrt(truth[ring].var().mean())
        assert found[ring].spread.sd == pytest.approx(pooled, rel=0.01)
        assert found[ring].typical_error == pytest.approx(0.02, rel=0.35)
    with pytest.raises(Refusal, match="rode each ring once"):
        rings_responses(rings_effect(ridden(), "y", RINGS))
