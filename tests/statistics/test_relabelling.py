"""Relabelling against a reference library, exact floors, and inversion by brute force."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from scipy import stats
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.relabelling import relabelling_test


def test_senns_trial_is_the_permutation_test_of_period_differences():
    # Hills & Armitage 1979: the treatment effect is half the difference of the groups' period differences
    oval_first, round_first = worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST
    first, second = (np.diff(np.array(pairs, float)).ravel() for pairs in (oval_first, round_first))
    expected = stats.permutation_test(
        (second, first), lambda a, b: np.mean(a) - np.mean(b), n_resamples=np.inf, alternative="two-sided"
    )
    test = relabelling_test(two_periods(oval_first, round_first), "y")
    assert test.relabellings == 1716
    assert test.estimate == pytest.approx(46.607143, abs=5e-7)
    # scipy doubles the smaller tail, ours counts both tails; so compare with both tails counted
    null = expected.null_distribution
    assert test.p == np.mean(np.abs(null) >= abs(expected.statistic) * (1 - 1e-9))


# 2/C(2m, m) for m riders a sequence
@pytest.mark.parametrize(("riders", "floor"), [(2, 0.33), (3, 0.10), (4, 0.029), (5, 0.0079), (6, 0.0022)])
def test_floors(riders, floor):
    rng = np.random.default_rng(riders)
    pairs = rng.normal(size=(2, riders, 2)) * 0.01
    table = two_periods(pairs[0] + [9, 0], pairs[1] + [0, 9])
    test = relabelling_test(table, "y")
    assert test.p == test.smallest_p
    assert test.p == pytest.approx(floor, rel=0.05)
    assert f"smallest possible p {test.smallest_p:.2g}" in test.sentence()


def normal_pairs(rng, riders, first=0.0, second=0.0):
    return rng.normal(loc=[first, second], size=(riders, 2))


def brute_force_p(table, delta):
    moved = table.assign(y=table["y"] - delta * (table["ring"] == "oval"))
    return relabelling_test(moved, "y").p


def test_interval_is_where_shifted_data_are_just_not_rejected():
    rng = np.random.default_rng(3)
    table = two_periods(normal_pairs(rng, 5, 1), normal_pairs(rng, 4, 0, 1))
    bounds = relabelling_test(table, "y").interval(0.90)
    for inside, outside in ((1e-6, -1e-6), (-1e-6, 1e-6)):
        edge = bounds.low if inside > 0 else bounds.high
        assert brute_force_p(table, edge + inside) > 0.10
        assert brute_force_p(table, edge + outside) <= 0.10


def test_interval_of_normal_data_is_close_to_students():
    rng = np.random.default_rng(4)
    table = two_periods(normal_pairs(rng, 8, 1), normal_pairs(rng, 8, 0, 1))
    test, expected = relabelling_test(table, "y"), ring_effect(table, "y").overall.interval()
    assert test.exact and test.relabellings == 12870
    assert (test.interval().low, test.interval().high) == pytest.approx(
        (expected.low, expected.high), abs=0.06
    )


def test_interval_is_unbounded_below_the_floor():
    rng = np.random.default_rng(5)
    bounds = relabelling_test(two_periods(rng.normal(size=(3, 2)), rng.normal(size=(3, 2))), "y").interval(
        0.95
    )
    assert bounds.low == -np.inf and bounds.high == np.inf


def four_periods(seed=6, per=3, orders=("ABBA", "BAAB", "ABAB"), missing=()):
    rng = np.random.default_rng(seed)
    rows = [
        (
            f"{order}{i}",
            order,
            period,
            {"A": "round", "B": "oval"}[letter],
            level,
            rng.normal() + (letter == "B"),
        )
        for order in orders
        for i in range(per)
        for period, letter in enumerate(order, start=1)
        for level in ("easy", "hard")
    ]
    table = pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])
    table.loc[list(missing), "y"] = np.nan
    return table


def test_three_sequences_by_brute_force():
    table = four_periods(per=2)
    test = relabelling_test(table, "y", "hard")
    # 6!/(2! 2! 2!) = 90 ways to share the sequences out
    assert test.relabellings == 90
    hard = table[table["intensity"] == "hard"]
    order = hard.drop_duplicates(["sequence", "period"]).set_index(["sequence", "period"])["ring"]
    riders, rng = hard["rider"].unique(), np.random.default_rng(0)
    labels = hard.drop_duplicates("rider").set_index("rider")["sequence"]
    for _ in range(10):
        given = pd.Series(rng.permutation(labels.to_numpy()), index=riders)
        sequence = hard["rider"].map(given)
        rings = [order[s, p] for s, p in zip(sequence, hard["period"], strict=True)]
        other = ring_effect(hard.assign(sequence=sequence, ring=rings), "y").overall.value
        assert np.isclose(test.effects, other, rtol=0, atol=1e-12).any()
    assert test.estimate == pytest.approx(ring_effect(hard, "y").overall.value, abs=1e-12)


def test_period_effects_do_not_matter():
    table = four_periods(orders=("ABBA", "BAAB"))
    drift = table["y"] + table["period"].map({1: 0, 2: 5, 3: -3, 4: 1})
    assert relabelling_test(table.assign(y=drift), "y").p == relabelling_test(table, "y").p


def test_overall_is_the_mean_over_intensities_period_by_period():
    table = four_periods(orders=("ABBA", "BAAB"))
    assert relabelling_test(table, "y").estimate == pytest.approx(ring_effect(table, "y").overall.value)


def test_a_rider_who_could_not_have_ridden_a_sequence_is_left_out():
    # Rider ABBA0 keeps periods 2 and 3 alone: both are oval, and in BAAB both would be round
    table = four_periods(orders=("ABBA", "BAAB"), missing=(0, 1, 6, 7))
    assert relabelling_test(table, "y", "easy").n == 5


def test_random_relabellings_agree_with_all_of_them(monkeypatch):
    rng = np.random.default_rng(8)
    table = two_periods(normal_pairs(rng, 7, 0.7), normal_pairs(rng, 7))
    exact = relabelling_test(table, "y")
    monkeypatch.setattr("analysis_lib.statistics.relabelling.MOST_EXACT", 10)
    sampled = relabelling_test(table, "y", seed=2)
    assert not sampled.exact and sampled.relabellings == 9999
    assert sampled.p == pytest.approx(exact.p, abs=4 * np.sqrt(exact.p / 9999) + 1e-4)
    assert sampled.p >= 1 / 10000 and sampled.smallest_p == 1 / 10000
    assert sampled.interval().low == pytest.approx(exact.interval().low, abs=0.05)
    assert relabelling_test(table, "y", seed=2).p == sampled.p


def test_refusals():
    with pytest.raises(Refusal, match="nothing to relabel"):
        relabelling_test(two_periods(worked.FORMOTEROL_FIRST, []), "y")
    with pytest.raises(Refusal, match="intensity"):
        relabelling_test(two_periods(worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST), "y", "hard")
    with pytest.raises(Refusal, match="the same values on both rings"):
        relabelling_test(two_periods([(5.1, 5.1)] * 3, [(5.1, 5.1)] * 3), "y")


def test_an_interval_that_does_not_exist_is_not_given_in_numbers():
    # Two riders in each of two sequences can be dealt in six ways: no effect has a p below 2/6, none is ruled out.
    rng = np.random.default_rng(5)
    test = relabelling_test(two_periods(rng.normal(size=(2, 2)), rng.normal(size=(2, 2))), "y")
    assert test.smallest_p > 0.05
    assert "no 95 % interval, for so few allocations rule nothing out" in test.sentence()
    assert "inf" not in test.sentence()
