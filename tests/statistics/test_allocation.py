"""Random allocation: balanced in blocks, the same from the same seed, and truly random."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.allocation import allocate_riders, order_intensities


def name_riders(n: int) -> list[str]:
    return [f"R{i:02d}" for i in range(1, n + 1)]


@settings(deadline=None)
@given(st.integers(1, 30), st.integers(1, 4), st.integers(1, 3), st.integers(0, 10**9))
def test_blocks_hold_every_sequence_equally_often(n, k, times, seed):
    sequences = [f"S{i}" for i in range(k)]
    drawn = allocate_riders(name_riders(n), sequences, seed, blocks_of=k * times)
    assert drawn.rider.tolist() == name_riders(n)
    counts = drawn.pivot_table(
        index="block", columns="sequence", values="rider", aggfunc="count", fill_value=0
    )
    assert (counts.iloc[: n // (k * times)] == times).all(axis=None)
    assert counts.sum(axis=0).max() - counts.sum(axis=0).min() <= times


def test_the_seed_decides_and_more_riders_change_nothing_before_them():
    one = allocate_riders(name_riders(12), ["ABBA", "BAAB"], 7)
    assert one.equals(allocate_riders(name_riders(12), ["ABBA", "BAAB"], 7))
    longer = allocate_riders(name_riders(20), ["ABBA", "BAAB"], 7)
    assert longer.sequence.iloc[:12].tolist() == one.sequence.tolist()
    assert not one.sequence.equals(allocate_riders(name_riders(12), ["ABBA", "BAAB"], 8).sequence)


def test_all_six_orders_of_a_block_come_equally_often():
    # Blocks of four riders and two sequences have six orders; chi-square over 3000 blocks, one seed
    drawn = allocate_riders([str(i) for i in range(12_000)], ["A", "B"], 11).sequence.to_numpy()
    orders = ["".join(block) for block in drawn.reshape(-1, 4)]
    counts = np.unique(orders, return_counts=True)[1]
    assert len(counts) == 6
    assert stats.chisquare(counts).pvalue > 0.001


@pytest.mark.parametrize("t", [2, 3, 4, 5])
def test_intensities_are_counterbalanced(t):
    intensities = [f"{100 * i} W" for i in range(1, t + 1)]
    whole = 2 * t if t % 2 else t
    orders = order_intensities(name_riders(2 * whole), intensities, 5)
    places = orders.pivot_table(index="place", columns="intensity", values="rider", aggfunc="count")
    assert (places == 2 * whole // t).all(axis=None)
    after = [
        pair
        for _, own in orders.groupby("rider")
        for pair in pairwise(own.sort_values("place").intensity.tolist())
    ]
    assert {after.count(pair) for pair in after} == {2 * (2 if t % 2 else 1)}
    assert orders.equals(order_intensities(name_riders(2 * whole), intensities, 5))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: allocate_riders([], ["A"], 1), "riders"),
        (lambda: allocate_riders(["x", "x"], ["A"], 1), "riders"),
        (lambda: allocate_riders("R1", ["A"], 1), "riders"),
        (lambda: allocate_riders(["x"], ["A", "A"], 1), "sequences"),
        (lambda: allocate_riders(["x"], [], 1), "sequences"),
        (lambda: allocate_riders(["x"], ["A", "B"], 1, blocks_of=3), "riders a block"),
        (lambda: allocate_riders(["x"], ["A", "B"], 1, blocks_of=0), "riders a block"),
        (lambda: allocate_riders(["x"], ["A", "B"], -1), "seed"),
        (lambda: allocate_riders(["x"], ["A", "B"], None), "seed"),
        (lambda: allocate_riders(["x"], ["A", "B"], True), "seed"),
        (lambda: order_intensities(["x"], ["low"], 1), "conditions"),
    ],
)
def test_what_cannot_be_drawn_is_refused(call, words):
    with pytest.raises(Refusal) as refused:
        call()
    assert words in str(refused.value)
