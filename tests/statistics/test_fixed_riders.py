"""Fixed riders against published two-period trials, exact identities and refusals."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect, ring_mixed_model
from analysis_lib.statistics.fixed_riders import fixed_rider_effect
from analysis_lib.statistics.multiplicity import simultaneous_intervals
from analysis_lib.statistics.simulated_riders import Beliefs, draw_values

LITERATURE = {
    # Senn 2002 ch. 3, printed 46.6, SE 10.8, 11 df; more digits recomputed in R
    "Senn": (worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST, 46.607143, 10.776560, 11),
    # Hills & Armitage 1979, printed t 3.29 on 27 df; more digits recomputed in R
    "Hills & Armitage": (worked.DRUG_FIRST, worked.PLACEBO_FIRST, 2.036765, 0.618601, 27),
}
ORDERS = {"ABBA": ("round", "oval", "oval", "round"), "BAAB": ("oval", "round", "round", "oval")}


def four_periods(riders=6, intensities=("easy", "hard"), seed=5):
    """ABBA/BAAB without gaps; values of one intensity lie 30 above those of the one before."""
    rng = np.random.default_rng(seed)
    orders = [list(ORDERS)[i % 2] for i in range(riders)]
    oval = np.array([[ring == "oval" for ring in ORDERS[order]] for order in orders])
    rows = []
    for k, intensity in enumerate(intensities):
        values = draw_values(oval, 1.0, Beliefs(1.0, 0.8, 0.5), 1, rng)[0]
        for i, order in enumerate(orders):
            for p, ring in enumerate(ORDERS[order]):
                rows.append((f"R{i}", order, p + 1, ring, intensity, 200 + 30 * k + values[i, p]))
    columns = ["rider", "sequence", "period", "ring", "intensity", "y"]
    return pd.DataFrame(rows, columns=columns)


@pytest.mark.parametrize("trial", LITERATURE)
def test_two_periods_as_published(trial):
    oval_first, round_first, value, se, df = LITERATURE[trial]
    overall = fixed_rider_effect(two_periods(oval_first, round_first), "y").estimates["overall"]
    assert overall.value == pytest.approx(value, abs=5.1e-7)
    assert overall.se == pytest.approx(se, rel=2e-6)
    assert overall.df == df


def test_residuals_forget_riders_rings_and_periods():
    left = fixed_rider_effect(four_periods(), "y").residuals
    for name in ("rider", "period", "ring"):
        assert np.allclose(left.groupby(["intensity", name])["residual"].sum(), 0, atol=1e-9)
    assert set(left["intensity"]) == {"easy", "hard", "overall"}


def test_a_rider_who_misses_a_period_keeps_the_others():
    table = four_periods()
    without = table[~((table["rider"] == "R0") & (table["period"] == 4))]
    effect = fixed_rider_effect(without, "y")
    # 23 values, 6 riders, 3 periods after the first and the ring
    assert effect.estimates["easy"].df == 23 - 10
    assert effect.estimates["easy"].n == 6


def test_one_sequence_is_refused():
    table = four_periods()
    with pytest.raises(Refusal, match="easy – got 12 values of 3 riders"):
        fixed_rider_effect(table[table["sequence"] == "ABBA"], "y")


def test_own_levels_at_intensities_belong_into_the_mixed_model():
    # With rider:intensity the rider's own level at an intensity cancels, however large it is; without, it is noise.
    table = four_periods()
    own = np.random.default_rng(1).normal(size=12) * 20
    cell = table["rider"].str[1:].astype(int) * 2 + (table["intensity"] == "hard")
    spread = table.assign(y=table["y"] + own[cell])
    terms = ("rider", "rider:ring", "rider:period", "rider:intensity")
    plain, moved = (ring_mixed_model(part, "y", random_terms=terms) for part in (table, spread))
    bare = ring_mixed_model(spread, "y", random_terms=terms[:3])
    for intensity in ("easy", "hard"):
        assert moved.estimates[intensity].value == pytest.approx(plain.estimates[intensity].value, rel=1e-6)
        assert moved.estimates[intensity].se < 0.5 * bare.estimates[intensity].se
    assert moved.overall.value == pytest.approx(bare.overall.value, rel=1e-6)


def test_with_all_that_differs_by_intensity_the_mixed_model_is_the_riders_contrasts():
    # In a complete ABBA/BAAB study the exact test at one intensity is the t of the riders' contrasts there, when no
    # variance is at zero; residual variances by intensity keep the intensities apart.
    terms = ("rider", "rider:ring", "rider:period", "rider:intensity", "rider:ring:intensity")
    own = np.random.default_rng(3).normal(size=24) * 2
    table = four_periods()
    cell = (
        table["rider"].str[1:].astype(int) * 4
        + 2 * (table["intensity"] == "hard")
        + (table["ring"] == "oval")
    )
    table = table.assign(y=table["y"] + own[cell])
    model, effect = ring_mixed_model(table, "y", random_terms=terms), ring_effect(table, "y")
    for intensity in ("easy", "hard", "overall"):
        assert model.estimates[intensity].value == pytest.approx(effect.at(intensity).value, rel=1e-6)


def test_each_intensity_can_have_a_residual_variance_of_its_own():
    table = four_periods()
    noise = np.random.default_rng(2).normal(size=len(table)) * np.where(table["intensity"] == "hard", 8.0, 0)
    model = ring_mixed_model(table.assign(y=table["y"] + noise), "y", residual_by_intensity=True)
    assert model.variance_components["residual: hard"] > 5 * model.variance_components["residual: easy"]


def test_simultaneous_intervals_are_those_of_a_smaller_error():
    estimates = fixed_rider_effect(four_periods(), "y").estimates
    family = {name: estimates[name] for name in ("easy", "hard")}
    found = simultaneous_intervals(family, 0.95)
    # Dunn 1961: two statements at 95 % together are two at 97.5 % each; t(14, 0.9875) = 2.510 (Hald's tables give 2.51)
    assert estimates["easy"].df == 14
    reach = (found["easy"].high - found["easy"].low) / 2
    assert reach / estimates["easy"].se == pytest.approx(2.510, abs=5e-3)
    with pytest.raises(Refusal, match="no estimates"):
        simultaneous_intervals({})
