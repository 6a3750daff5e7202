"""Several rings from intensity to intensity and on repeated rides, against statsmodels' OLS and MANOVA and by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rings_intensity_long_run as simulated
from statsmodels.formula.api import ols
from statsmodels.multivariate.manova import MANOVA
from statsmodels.stats.anova import anova_lm

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.designs import williams_design
from analysis_lib.statistics.mixed import fit_mixed_model
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.statistics.rings_sensitivity import rings_mixed_model, rings_periods
from analysis_lib.statistics.simulated_rings import fit_studies

RINGS = ("round", "early", "late", "strong")
TRUE = {"round": 0.0, "early": 2.0, "late": -1.0, "strong": 4.0}
STEP = {"round": 0.0, "early": 0.5, "late": 0.0, "strong": -2.0}
RING = "C(ring, Treatment('round'))"


def ridden(
    rings=RINGS, riders=12, noise=1.0, levels=("easy", "steady", "hard"), orders=None, lost=(), seed=4
):
    """Riders of different level and response, with rows (rider number, period, intensity) of `lost` unknown."""
    rng = np.random.default_rng(seed)
    design = list((orders or williams_design(rings)).items())
    rows = []
    for i in range(riders):
        name, order = design[i % len(design)]
        level, own = 20 * rng.normal(), {ring: noise * rng.normal() for ring in rings}
        for period, ring in enumerate(order, start=1):
            day = noise * rng.normal()
            for k, intensity in enumerate(levels):
                y = 200 + level + 30 * k + 3 * period + TRUE[ring] + k * STEP[ring] + own[ring] + day
                y = np.nan if (i, period, intensity) in lost else y + noise * rng.normal()
                rows.append((f"R{i:02d}", name, period, ring, intensity, y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def whole_periods(table: pd.DataFrame) -> pd.DataFrame:
    keys = ["rider", "period", "ring"]
    return table.pivot(index=keys, columns="intensity", values="y").dropna().reset_index()


LOST = ((0, 4, "easy"), (3, 2, "hard"), (7, 1, "steady"))


@pytest.mark.parametrize("lost", [(), LOST])
def test_trends_are_the_slopes_of_a_formula(lost):
    table = ridden(lost=lost)
    wide = whole_periods(table)
    # Three equal steps: Σ (x − x̄) y / Σ (x − x̄)² = (hard − easy)/2
    wide["slope"] = (wide["hard"] - wide["easy"]) / 2
    fit = ols(f"slope ~ C(rider) + C(period) + {RING}", wide).fit()
    trend = rings_effect(table, "y", RINGS, unit="W").trend()
    frame = trend.to_frame().set_index("ring")
    for ring in RINGS[1:]:
        term, row = f"{RING}[T.{ring}]", frame.loc[ring]
        shown = (fit.params[term], fit.bse[term], fit.df_resid, fit.pvalues[term])
        assert (row["estimate"], row["se"], row["df"], row["p"]) == pytest.approx(shown, rel=1e-8)
        # Wider than a single interval, narrower than Bonferroni's for three rings
        single = (
            fit.conf_int().loc[term, 1] - fit.params[term],
            fit.conf_int(0.05 / 3).loc[term, 1] - fit.params[term],
        )
        assert single[0] < row["high"] - row["estimate"] < single[1]
    assert trend.unit == "W per step of intensity"


@pytest.mark.parametrize("there_and_back", [False, True])
@pytest.mark.parametrize("world", ["riders differ", "riders differ, trials missing"])
def test_simulated_studies_are_analysed_as_the_page_analyses_them(world, there_and_back):
    rings = simulated.ridden(12, there_and_back)
    values = simulated.draw(rings, simulated.WORLDS[world], 2, np.random.default_rng(3))
    parts = {
        "overall": values.mean(axis=3),
        "trend": (values[..., 2] - values[..., 0]) / 2 + 0 * values[..., 1],
    }
    for study in range(2):
        effect = rings_effect(simulated.tabulate(rings, values[study]), "y", simulated.RINGS)
        ours = {"overall": effect.overall, "trend": effect.trend().families["trend"][0]}
        for name, part in parts.items():
            fits = fit_studies(rings, 3, part)
            assert fits.known.all()
            for k, ring in enumerate(simulated.RINGS[1:]):
                shown = (fits.value[study, k], fits.se[study, k], fits.df[study])
                assert (ours[name][ring].value, ours[name][ring].se, ours[name][ring].df) == pytest.approx(
                    shown
                )


def test_trend_takes_scores_and_finds_the_truth_without_noise():
    table = ridden(noise=0.0)
    found = rings_effect(table, "y", RINGS).trend().families["trend"][0]
    assert [found[ring].value for ring in RINGS[1:]] == pytest.approx([0.5, 0.0, -2.0], abs=1e-9)
    assert all(np.isnan(e.p) for e in found.values())
    per_watt = rings_effect(table, "y", RINGS).trend([100, 150, 200]).families["trend"][0]
    assert per_watt["strong"].value == pytest.approx(-2.0 / 50, abs=1e-10)


@pytest.mark.parametrize(
    ("rings", "levels"),
    [(RINGS[:3], 3), (RINGS, 3), (RINGS, 4)],
    ids=["3x3", "4x3", "4x4"],
)
@pytest.mark.parametrize("lost", [(), LOST])
def test_ring_by_intensity_is_wilks_test_of_statsmodels(rings, levels, lost):
    names = ("easy", "steady", "hard", "sprint")[:levels]
    table = ridden(rings, levels=names, lost=lost)
    wide = whole_periods(table)
    steps = [f"step{k}" for k in range(levels - 1)]
    for k, step in enumerate(steps):
        wide[step] = wide[names[k + 1]] - wide[names[k]]
    fit = MANOVA.from_formula(f"{' + '.join(steps)} ~ C(rider) + C(period) + {RING}", wide)
    asked = [("all rings", [f"{RING}[T.{ring}]" for ring in rings[1:]])]
    asked += [(ring, [f"{RING}[T.{ring}]"]) for ring in rings[1:]]
    hypotheses = [
        (name, np.array([fit.exog_names.index(term) == np.arange(fit.exog.shape[1]) for term in terms]) * 1.0)
        for name, terms in asked
    ]
    found = fit.mv_test(hypotheses=hypotheses).results
    ours = rings_effect(table, "y", rings).interaction()
    for name, test in ours.items():
        theirs = found[name]["stat"].loc["Wilks' lambda"]
        assert (test.f, test.df_numerator, test.df_denominator) == pytest.approx(
            (theirs["F Value"], theirs["Num DF"], theirs["Den DF"]), rel=1e-8
        )
        assert test.p == pytest.approx(theirs["Pr > F"], abs=1e-10)


def test_two_intensities_leave_the_f_test_of_their_difference():
    table = ridden(levels=("easy", "hard"))
    wide = whole_periods(table).assign(step=lambda w: w["hard"] - w["easy"])
    shown = anova_lm(ols(f"step ~ C(rider) + C(period) + {RING}", wide).fit(), typ=2).loc[RING]
    test = rings_effect(table, "y", RINGS).interaction()["all rings"]
    assert (test.f, test.p) == pytest.approx((shown["F"], shown["PR(>F)"]), rel=1e-8)
    assert (test.df_numerator, test.df_denominator) == (3, 48 - 12 - 3 - 3)


def test_two_rings_in_two_periods_give_hotellings_test_and_the_trend_of_two():
    design = {"AB": ("round", "early"), "BA": ("early", "round")}
    table = ridden(("round", "early"), orders=design)
    two = ring_effect(table.replace({"ring": {"early": "oval"}}), "y")
    several = rings_effect(table, "y", ("round", "early"))
    ours, theirs = several.interaction(), two.interaction()
    for test in ours.values():
        assert (test.f, test.df_numerator, test.df_denominator, test.p) == pytest.approx(
            (theirs.f, theirs.df_numerator, theirs.df_denominator, theirs.p), rel=1e-9
        )
    slope = several.trend().families["trend"][0]["early"]
    assert (slope.value, slope.se, slope.df) == pytest.approx(
        (two.trend().value, two.trend().se, two.trend().df), rel=1e-9
    )


# A rider's contrast of two rings in ABBA/BAAB or ABB/BAA, regressed on sequence, is held against R elsewhere.
@pytest.mark.parametrize("design", ["ABBA/BAAB", "ABB/BAA"])
def test_two_rings_ridden_repeatedly_give_the_analysis_of_two_rings(design):
    rings = {"A": "round", "B": "early"}
    orders = {name: tuple(rings[letter] for letter in name) for name in design.split("/")}
    table = ridden(("round", "early"), orders=orders)
    two = ring_effect(table.replace({"ring": {"early": "oval"}}), "y").to_frame().set_index("intensity")
    frame = rings_effect(table, "y", ("round", "early")).to_frame().set_index("intensity")
    for name in ("easy", "overall"):
        for column in ("estimate", "se", "df", "p", "low", "high", "n"):
            assert frame.loc[name, column] == pytest.approx(two.loc[name, column], rel=1e-9)


def twice_over() -> dict[str, tuple[str, ...]]:
    """Each Williams order of three rings and back again: ABCCBA and so on."""
    return {name + name[::-1]: order + order[::-1] for name, order in williams_design(RINGS[:3]).items()}


# Of six periods there and back only three pairs can be told apart, which the formula's fit finds out by itself.
@pytest.mark.filterwarnings("ignore:The design matrix is rank-deficient")
@pytest.mark.parametrize("lost", [(), ((2, 5, "easy"), (9, 1, "hard"), (9, 6, "steady"))])
def test_repeats_are_averaged_with_the_shares_of_their_periods(lost):
    table = ridden(RINGS[:3], orders=twice_over(), lost=lost)
    effect = rings_effect(table, "y", RINGS[:3])
    keys = ["rider", "period", "ring"]
    means = table.dropna(subset=["y"]).groupby(keys)["y"].agg(["mean", "size"]).reset_index()
    periods = pd.get_dummies(means["period"], dtype=float).add_prefix("p").iloc[:, 1:]
    shares = pd.concat([means, periods], axis=1)[means["size"] == 3]
    cells = shares.groupby(["rider", "ring"])[["mean", *periods]].mean().reset_index()
    fit = ols(f"Q('mean') ~ C(rider) + {' + '.join(periods)} + {RING}", cells).fit()
    for ring in ("early", "late"):
        found, term = effect.overall[ring], f"{RING}[T.{ring}]"
        assert (found.value, found.se, found.df) == pytest.approx(
            (fit.params[term], fit.bse[term], fit.df_resid), rel=1e-8
        )
    assert effect.is_repeated
    assert "mean on each ring" in effect.method


def test_complete_repeats_give_the_mixed_model_with_rider_and_rider_by_ring():
    # Balanced and with positive variances, the stratum of rider × ring carries the contrasts of rings: 12 riders,
    # (12 − 1)(3 − 1) less what periods take
    table = ridden(RINGS[:3], orders=twice_over())
    effect = rings_effect(table, "y", RINGS[:3])
    mixed = rings_mixed_model(effect)
    for ring in ("early", "late"):
        found = effect.overall[ring]
        assert (mixed[ring].value, mixed[ring].se, mixed[ring].df) == pytest.approx(
            (found.value, found.se, found.df), rel=1e-5
        )
    assert effect.overall["early"].df == 20
    # Taken for independent trials, the repeats promise more than there is
    rows = table.groupby(["rider", "period", "ring"])["y"].mean().reset_index()
    naive = ols(f"y ~ C(rider) + C(period) + {RING}", rows).fit()
    assert naive.df_resid == 72 - 12 - 5 - 2
    assert naive.bse[f"{RING}[T.early]"] < 0.8 * effect.overall["early"].se


def test_periods_of_repeats_come_from_the_mixed_model():
    table = ridden(RINGS[:3], orders=twice_over())
    seen = table.groupby(["rider", "period", "ring"])["y"].mean().reset_index()
    x = pd.get_dummies(seen["period"], dtype=float).iloc[:, 1:].rename(columns=str)
    x = pd.concat([pd.Series(1.0, seen.index, name="one"), x], axis=1)
    for ring in ("early", "late"):
        x[ring] = (seen["ring"] == ring).astype(float)
    fit = fit_mixed_model(seen["y"], x, {"r": seen["rider"], "rr": seen["rider"] + seen["ring"]}).to_frame()
    found = rings_periods(rings_effect(table, "y", RINGS[:3]))
    shown = fit.set_index("term").loc["4"]
    assert (found[4].value, found[4].se) == pytest.approx((shown["estimate"], shown["se"]), rel=1e-6)
    assert list(found) == [2, 3, 4, 5, 6]


def test_ratios_are_the_exponentials_of_a_fit_of_logarithms():
    table = ridden()
    effect = rings_effect(table, "y", RINGS, scale="log", unit="W")
    easy = table[table["intensity"] == "easy"]
    fit = ols(f"np.log(y) ~ C(rider) + C(period) + {RING}", easy).fit()
    ratios = effect.ratios().set_index(["intensity", "ring"])
    for ring in RINGS[1:]:
        row = ratios.loc[("easy", ring)]
        assert row["ratio"] == pytest.approx(np.exp(fit.params[f"{RING}[T.{ring}]"]), rel=1e-9)
        assert row["low"] < row["ratio"] < row["high"]
    assert effect.unit == "log ratio"
    assert set(effect.verdicts(1.5)["verdict"]) == {"equivalent"}
    with pytest.raises(Refusal, match="a ratio above 1"):
        effect.verdicts(1.0)


def test_holm_allows_for_every_ring_at_every_intensity():
    effect = rings_effect(ridden(), "y", RINGS)
    frame = effect.holm()
    p = frame["p"].to_numpy()
    assert len(p) == 9
    order = np.argsort(p)
    by_hand = np.minimum(np.maximum.accumulate(p[order] * np.arange(9, 0, -1)), 1)
    assert frame["p_holm"].to_numpy()[order] == pytest.approx(by_hand, rel=1e-12)


def test_who_is_in_and_who_is_out_is_said_with_the_reason():
    only = [(5, period, level) for period in (1, 2, 3) for level in ("easy", "steady", "hard")]
    table = ridden(lost=(*LOST, *only))
    effect = rings_effect(table, "y", RINGS)
    frame = effect.riders().set_index(["rider", "intensity"])
    assert frame.loc[("R05", "overall"), "part"] == "out"
    assert frame.loc[("R03", "easy"), "part"] == "whole"
    row = frame.loc[("R03", "hard")]
    gone = table[(table["rider"] == "R03") & (table["period"] == 2)]["ring"].iloc[0]
    assert (row["part"], row["lacking"], row["reason"]) == ("in part", gone, f"no value on {gone}")
    assert "every intensity" in frame.loc[("R03", "overall"), "reason"]
    assert effect.overall["early"].n == 11


def test_what_cannot_be_asked_is_refused():
    one = rings_effect(ridden(levels=("easy",)), "y", RINGS)
    with pytest.raises(Refusal, match="one intensity"):
        one.trend()
    with pytest.raises(Refusal, match="one intensity"):
        one.interaction()
    copied = ridden(noise=0.0)
    with pytest.raises(Refusal, match="varying on its own"):
        rings_effect(copied, "y", RINGS).interaction()
    with pytest.raises(Refusal, match="scores"):
        rings_effect(ridden(), "y", RINGS).trend([1, 1, 1])
