"""Riders' own effects and the spread of response: identities, limits and simulated truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect, ring_mixed_model
from analysis_lib.statistics.individual import ResponseSpread, individual_effects


def study(
    seed=0, riders=12, orders=("ABBA", "BAAB"), response=2.0, error=1.0, drift=(0, 0, 0, 0), effect=3.0
):
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(riders):
        order, level, own = orders[i % len(orders)], 10 * rng.normal(), response * rng.normal()
        for period, letter in enumerate(order, start=1):
            y = 250 + level + drift[period - 1] + (effect + own) * (letter == "B") + error * rng.normal()
            rows.append((f"R{i:02d}", order, period, {"A": "round", "B": "oval"}[letter], "one", y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def test_effects_and_own_intervals_by_hand():
    # Two riders ABBA, one sequence: effects 11 − 10.5 and 14 − 10; own variances (0.5 + 2)/2 and (2 + 2)/2
    table = pd.DataFrame(
        {
            "rider": ["A"] * 4 + ["B"] * 4 + ["C"] * 4,
            "sequence": "ABBA",
            "period": [1, 2, 3, 4] * 3,
            "ring": ["round", "oval", "oval", "round"] * 3,
            "intensity": "one",
            "y": [10.0, 10, 12, 11, 9, 13, 15, 11, 10, 11, 13, 12],
        }
    )
    frame = individual_effects(table, "y").riders.set_index("rider")
    assert frame["effect"].tolist() == [0.5, 4.0, 1.0]
    assert frame.loc["A", "se"] == pytest.approx(np.sqrt((0.5 + 2) / 2))
    assert frame.loc["B", "se"] == pytest.approx(np.sqrt((2 + 2) / 2))
    # t(2) = 4.303 (any table of t)
    reach = frame.loc["B", "high"] - frame.loc["B", "effect"]
    assert reach / frame.loc["B", "se"] == pytest.approx(4.303, abs=6e-4)


def test_group_mean_and_spread_agree_with_the_primary_and_the_mixed_model():
    # In a balanced study REML is the analysis of variance: response variance = 2 × variance of rider:ring
    table = study()
    found, model = individual_effects(table, "y"), ring_mixed_model(table, "y")
    components = model.variance_components
    assert found.spread.variance == pytest.approx(2 * components["rider:ring"], rel=1e-5)
    assert found.typical_error**2 == pytest.approx(components["residual"], rel=1e-5)
    primary = ring_effect(table, "y").overall
    frame = found.riders
    assert frame["effect"].mean() == pytest.approx(primary.value)
    assert found.spread.between == pytest.approx(primary.se**2 * 12)
    assert found.spread.between_df == 10


def test_period_effects_are_taken_out():
    calm, moved = study(), study(drift=(0, 4, -3, 7))
    one, other = individual_effects(calm, "y"), individual_effects(moved, "y")
    np.testing.assert_allclose(other.riders["effect"], one.riders["effect"])
    assert other.typical_error == pytest.approx(one.typical_error)
    assert other.spread.sd == pytest.approx(one.spread.sd)
    # 48 values, 24 cells, two differences between periods within rings
    assert one.typical_error_df == 22
    assert (other.riders["se"] > one.riders["se"]).mean() > 0.5


def test_shrinking_goes_to_the_group_and_never_past_it():
    found = individual_effects(study(), "y")
    frame, group = found.riders, found.riders["effect"].mean()
    pull = (frame["shrunken"] - group) / (frame["effect"] - group)
    kept = found.spread.variance / (found.spread.variance + found.typical_error**2)
    np.testing.assert_allclose(pull, kept)
    assert 0 < kept < 1


def test_shrunken_effects_predict_better_than_raw_ones():
    errors = []
    for seed in range(40):
        rng = np.random.default_rng(1000 + seed)
        truth = 1.0 * rng.normal(size=12)
        table = study(seed, response=0.0, error=1.5)
        own = table["rider"].map(dict(zip(sorted(table["rider"].unique()), truth, strict=True)))
        table["y"] += own * (table["ring"] == "oval")
        frame = individual_effects(table, "y").riders.sort_values("rider")
        errors.append([np.mean((frame[c] - 3 - truth) ** 2) for c in ("effect", "shrunken")])
    raw, shrunken = np.mean(errors, axis=0)
    assert shrunken < 0.8 * raw


def test_no_spread_of_response_shrinks_all_riders_to_the_group():
    table = study(3, response=0.0, error=1.0)
    found = next(
        f for f in (individual_effects(study(s, response=0.0), "y") for s in range(20)) if f.spread.sd == 0
    )
    assert found.spread.variance <= 0 and found.spread.interval().low == 0
    assert found.riders["shrunken"].std() == pytest.approx(0, abs=1e-9)
    assert individual_effects(table, "y").spread.p > 1e-3


def spread_of(between, within, between_df=11, within_df=24):
    sd, p = (
        np.sqrt(max(between - within, 0)),
        stats.f.sf(between / within if within else np.inf, between_df, within_df),
    )
    return ResponseSpread(sd, between - within, p, between, within, between_df, within_df, 12, "W")


def test_interval_without_measurement_error_is_the_chi_squared_interval():
    # Any textbook: df s²/χ² points; for 11 df the 95 % factors of the SD are 0.708 and 1.698
    bounds = spread_of(4.0, 1e-12).interval(0.95)
    assert bounds.low / 2 == pytest.approx(0.708, abs=6e-4)
    assert bounds.high / 2 == pytest.approx(1.698, abs=6e-4)


@pytest.mark.parametrize("level", [0.90, 0.95])
def test_low_end_leaves_zero_where_the_f_test_turns(level):
    critical = stats.f.ppf(1 - (1 - level) / 2, 11, 24)
    assert spread_of(critical * 0.999, 1.0).interval(level).low == 0
    assert spread_of(critical * 1.001, 1.0).interval(level).low > 0
    assert spread_of(critical, 1.0).p == pytest.approx((1 - level) / 2)


@pytest.mark.parametrize("ratio", [0.0, 0.5, 2.0, 10.0])
def test_coverage_of_the_spread(ratio):
    # Variances drawn from their exact chi-squared distributions around a known truth
    rng = np.random.default_rng(7)
    within = rng.chisquare(22, size=1500) / 22
    between = (ratio + 1) * rng.chisquare(10, size=1500) / 10
    inside = 0
    for b, w in zip(between, within, strict=True):
        bounds = spread_of(b, w, 10, 22).interval(0.90)
        inside += bounds.low <= np.sqrt(ratio) <= bounds.high
    # Without any spread the low end is 0 whenever the F test keeps its 5 % and the high end cannot miss by much
    assert inside / 1500 == pytest.approx(0.95 if ratio == 0 else 0.90, abs=0.055 if ratio == 0 else 0.03)


def test_an_interval_that_shrinks_to_nothing_is_no_finding():
    # Contrasts of SD 0.1 on 2 df beside replicates of SD 1 on 6: F = 0.01, far below its 2.5 % point of 0.0254 (tables)
    spread = spread_of(0.01, 1.0, 2, 6)
    assert spread.collapsed and spread.interval().high == 0
    # χ² on 2 df is twice an exponential: its 2.5 % point is −2 ln 0.975
    assert spread.cautious_bound() == pytest.approx(0.1 * np.sqrt(2 / (-2 * np.log(0.975))), rel=1e-9)
    said = spread.sentence()
    assert "not estimable (n = 12)" in said and "SD 0.10 W, df = 2" in said and "SD 1.0 W, df = 6" in said
    assert "interval 0" not in said


@pytest.mark.parametrize("ratio", [0.0, 0.5, 2.0])
def test_the_cautious_bound_holds_the_spread_in_975_of_1000(ratio):
    # Contrasts of variance 1 + ratio on 2 df; exactly so where there is no error beside, else more often
    rng = np.random.default_rng(8)
    between = (1 + ratio) * rng.chisquare(2, size=4000) / 2
    held = np.mean([spread_of(b, 1.0, 2, 6).cautious_bound() >= np.sqrt(ratio) for b in between])
    assert held >= 0.975 - 4 * np.sqrt(0.975 * 0.025 / 4000)


def test_an_ordinary_absence_of_spread_is_not_called_so():
    # F = 0.5: contrasts below their error, as in many studies of riders alike
    spread = spread_of(0.5, 1.0)
    assert spread.sd == 0 and not spread.collapsed and "not estimable" not in spread.sentence()


def test_coverage_of_own_and_pooled_intervals():
    own, pooled, count = 0, 0, 0
    for seed in range(40):
        frame = individual_effects(study(seed, response=0.0, riders=8), "y").riders
        own += ((frame["low"] <= 3) & (frame["high"] >= 3)).sum()
        pooled += ((frame["low_pooled"] <= 3) & (frame["high_pooled"] >= 3)).sum()
        count += len(frame)
    assert own / count == pytest.approx(0.95, abs=0.03)
    assert pooled / count == pytest.approx(0.95, abs=0.03)


def test_missing_periods_are_weighed():
    table = study()
    table.loc[1, "y"] = np.nan
    frame = individual_effects(table, "y").riders.set_index("rider")
    assert frame.loc["R00", ["periods_round", "periods_oval", "df"]].tolist() == [2, 1, 1]
    assert frame.loc["R00", "se_pooled"] == pytest.approx(frame.loc["R02", "se_pooled"] * np.sqrt(1.5))


def test_sentence_does_not_count_riders():
    text = individual_effects(study(), "y", unit="W").spread.sentence()
    assert text.startswith("SD of individual response: ") and "W (95 % interval" in text


def test_refusals():
    rng = np.random.default_rng(1)
    with pytest.raises(Refusal, match="rode each ring once"):
        individual_effects(two_periods(rng.normal(size=(5, 2)), rng.normal(size=(5, 2))), "y")
    with pytest.raises(Refusal, match="do not vary"):
        individual_effects(study(error=0.0), "y")
    with pytest.raises(Refusal, match="intensity"):
        individual_effects(study(), "y", "hard")
    nothing = study().assign(y=np.nan)
    with pytest.raises(Refusal, match="no period with a value at every intensity"):
        individual_effects(nothing, "y")
