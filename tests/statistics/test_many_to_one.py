"""Planning several rings: Dunnett's tables, statsmodels' power, and studies analysed one by one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import design_variance, williams_design
from analysis_lib.statistics.many_to_one import equal_critical_t, many_to_one_power
from analysis_lib.statistics.rings import critical_t, rings_effect
from analysis_lib.statistics.simulated_riders import Beliefs
from analysis_lib.statistics.simulated_rings import _draw, fit_studies, simulate_rings

RINGS = ("round", "early", "late")
DESIGN = williams_design(RINGS)


# Two-sided 5 % points for comparing k treatments with a control: Dunnett, Biometrics 1964;20:482, Table 2
# (from memory); the correlation is 1/2 between treatments of equal size.
@pytest.mark.parametrize(
    ("k", "df", "printed"),
    [(1, 10, 2.23), (2, 10, 2.57), (3, 10, 2.76), (2, 20, 2.38), (3, 20, 2.54), (4, 20, 2.65), (2, 60, 2.27)],
)
def test_points_are_dunnetts(k, df, printed):
    assert equal_critical_t(k, df) == pytest.approx(printed, abs=0.0051)


def chance_inside(c: float, matrix: np.ndarray, df: int) -> float:
    """SciPy's quasi-random integral with many points."""
    reach, rng = np.full(len(matrix), c), np.random.default_rng(0)
    return stats.multivariate_t.cdf(
        reach, shape=matrix, df=df, lower_limit=-reach, maxpts=300_000, random_state=rng
    )


@pytest.mark.parametrize(("k", "correlation"), [(3, 0.2), (3, 0.5), (4, 0.8)])
def test_the_point_leaves_five_percent_outside_by_scipys_integral(k, correlation):
    matrix = np.full((k, k), correlation) + (1 - correlation) * np.eye(k)
    assert chance_inside(equal_critical_t(k, 14, 0.95, correlation), matrix, 14) == pytest.approx(
        0.95, abs=2e-5
    )


def test_unequal_correlations_leave_five_percent_outside_too():
    matrix = np.array([[1.0, 0.3, 0.6], [0.3, 1.0, 0.45], [0.6, 0.45, 1.0]])
    # Found with 20 000 points: sure to a few ten-thousandths
    assert chance_inside(critical_t(matrix, 9, 0.95), matrix, 9) == pytest.approx(0.95, abs=3e-4)


def test_intervals_are_those_of_scipys_dunnett():
    # Six blood counts of a control and of two drugs, made equal in number from Dunnett 1955, Table II (from memory)
    control = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
    drugs = [9.76, 8.80, 7.68, 9.36, 8.90, 9.10], [12.80, 9.68, 12.16, 9.20, 10.55, 10.90]
    found = stats.dunnett(*drugs, control=np.array(control), rng=np.random.default_rng(1))
    bounds = found.confidence_interval(0.95)
    pooled = np.mean([np.var(group, ddof=1) for group in (control, *drugs)])
    reach = equal_critical_t(2, 15) * np.sqrt(pooled * 2 / 6)
    differences = [np.mean(drug) - np.mean(control) for drug in drugs]
    # SciPy finds its point by quasi-random integration, to about a thousandth
    assert bounds.low == pytest.approx([value - reach for value in differences], abs=5e-3)
    assert bounds.high == pytest.approx([value + reach for value in differences], abs=5e-3)


def test_many_uncorrelated_contrasts_on_endless_df_follow_sidak():
    # Independent normal contrasts: each two-sided at 1 − 0.95^(1/k) (Šidák 1967)
    for k in (2, 5):
        exact = stats.norm.ppf((1 + 0.95 ** (1 / k)) / 2)
        assert equal_critical_t(k, 1e6, 0.95, 0.0) == pytest.approx(exact, abs=1e-4)


def test_power_for_one_ring_is_that_of_a_t_test():
    # One contrast of n riders with SD 1 and n − 1 df: the paired t test of statsmodels
    shown = TTestPower().power(0.5, nobs=34, alpha=0.05, alternative="two-sided")
    assert many_to_one_power(0.5, 1 / np.sqrt(34), 33, 1) == pytest.approx(shown, abs=1e-8)


def test_every_simulated_study_is_analysed_as_the_page_analyses_it():
    rng = np.random.default_rng(2)
    names, orders = (
        list(DESIGN),
        np.array([[RINGS.index(ring) for ring in order] for order in DESIGN.values()]),
    )
    ridden = orders[np.arange(12) % 6]
    values = _draw(ridden, 3, 1.0, Beliefs(2.0, 1.0, 2.0, dropout=0.3, lost=0.05), 5, rng)
    fits = fit_studies(ridden, 3, values)
    for study in range(5):
        table = pd.DataFrame(
            [
                (f"R{rider:02d}", names[rider % 6], period + 1, RINGS[ridden[rider, period]], "easy", y)
                for (rider, period), y in np.ndenumerate(values[study])
            ],
            columns=["rider", "sequence", "period", "ring", "intensity", "y"],
        )
        found = rings_effect(table, "y", RINGS).overall
        assert fits.value[study] == pytest.approx([found[name].value for name in RINGS[1:]], rel=1e-8)
        assert fits.se[study] == pytest.approx([found[name].se for name in RINGS[1:]], rel=1e-8)
        assert fits.df[study] == found["early"].df


def test_rates_are_those_that_were_promised():
    beliefs = Beliefs(3.0, response_sd=1.0, period_sd=3.0, dropout=0.1)
    nothing = simulate_rings(DESIGN, 18, 0.0, beliefs, 3.0, RINGS, seed=1)
    assert abs(nothing.found_any - 0.05) < 4 * np.sqrt(0.05 * 0.95 / 2000)
    assert abs(nothing.coverage - 0.95) < 4 * np.sqrt(0.05 * 0.95 / 2000)
    assert nothing.found_all < nothing.power < nothing.found_any
    on_the_bound = simulate_rings(DESIGN, 18, 3.0, beliefs, 3.0, RINGS, seed=2)
    # Each of two rings is called equivalent in at most 2.5 %
    assert on_the_bound.verdicts["equivalent"] < 0.025 + 4 * np.sqrt(0.025 * 0.975 / 4000)


def test_simulated_power_without_drop_outs_is_that_of_the_formula():
    found = simulate_rings(DESIGN, 18, 3.0, Beliefs(3.0, response_sd=1.0), 3.0, RINGS, seed=4)
    # Williams: variance 2 σ²/N for each difference; half the response's variance on each ring
    se = np.sqrt(design_variance(DESIGN).plain * (9 + 0.5) / 18)
    assert design_variance(DESIGN).plain == pytest.approx(2)
    assert abs(found.power - many_to_one_power(3.0, se, (18 - 2) * 2, 2)) < 4 * found.power_se


# Williams designs allowing for first-order carry-over: 2.5 and 2.2 σ²/N, efficiencies 80 % (t = 3) and 90.9 % (t = 4),
# Jones & Kenward 2014, ch. 4.
@pytest.mark.parametrize(("rings", "allowed"), [(3, 2.5), (4, 2.2)])
def test_carry_over_costs_what_williams_designs_are_known_for(rings, allowed):
    found = design_variance(williams_design([f"ring {n}" for n in range(rings)]))
    assert (found.plain, found.with_carry_over) == pytest.approx((2.0, allowed), rel=1e-9)
    assert found.warning == ""


def test_refusals():
    with pytest.raises(Refusal, match="simultaneous t"):
        equal_critical_t(2, 0.0)
    with pytest.raises(Refusal, match="size of the plan"):
        simulate_rings(DESIGN, 2, 0.0, Beliefs(1.0), 1.0, RINGS)
