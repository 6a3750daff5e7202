"""Designs, against published squares and variances, and the balance that they promise."""

from __future__ import annotations

import math
from itertools import combinations, pairwise, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import (
    TWO_RING_DESIGNS,
    design_variance,
    relabelling_floor,
    spell_design,
    williams_design,
)

# Variance of A − B in σ²/N, fixed riders and periods: without carry-over, with, and of the carry-over. Jones
# & Kenward, Design and Analysis of Cross-Over Trials, ch. 3, have 0.75 and 1.0 σ²/n for ABB/BAA with n
# riders in each of two groups, N = 2n. The others are exact solutions of the same least squares, done again
# below.
VARIANCES = {
    "AB/BA": (2, math.inf, math.inf),
    "AB/BA/AA/BB": (4, 8, 16),
    "ABB/BAA": (1.5, 1.5, 2),
    "ABA/BAB": (1.5, 6, 8),
    "AAB/BBA": (1.5, 2, 8),
    "ABBA/BAAB": (1, 1.1, 1.6),
    "AABB/BBAA": (1, 1.1, 1.6),
    "ABAB/BABA": (1, 5.5, 8),
    "ABBA/BAAB/AABB/BBAA": (1, 1, 16 / 11),
}


@pytest.mark.parametrize("name", VARIANCES)
def test_variance_of_two_ring_designs(name):
    found = design_variance(spell_design(name))
    assert (found.plain, found.with_carry_over, found.carry_over) == pytest.approx(VARIANCES[name], rel=1e-9)


def test_the_menu_holds_every_design_and_recommends_the_good_ones():
    assert set(TWO_RING_DESIGNS) == set(VARIANCES)
    warned = {name for name in VARIANCES if design_variance(spell_design(name)).warning}
    assert warned == {"AB/BA", "AB/BA/AA/BB", "ABA/BAB", "ABAB/BABA"}
    assert "5.5 times" in design_variance(spell_design("ABAB/BABA")).sentence()
    assert "unknowable" in design_variance(spell_design("AB/BA")).sentence()
    assert design_variance(spell_design("ABBA/BAAB")).sentence() == (
        "Variance of the ring difference 1 σ²/N, allowing for carry-over 1.1 σ²/N."
    )
    # All riders in one order: ring and period are one
    assert "told from periods" in design_variance(spell_design("AB")).warning


@pytest.mark.parametrize("name", ["ABBA/BAAB", "AAB/BBA", "ABAB/BABA", "AB/BA/AA/BB"])
def test_variance_is_that_of_least_squares_on_simulated_riders(name):
    # 6 riders a sequence, dummy columns of riders, periods, ring and carry-over: diagonal of (X'X)⁻¹
    orders = name.split("/")
    rows = [
        (6 * s + r, p, order[p] == "B", p > 0 and order[p - 1] == "B", p > 0)
        for s, order in enumerate(orders)
        for r in range(6)
        for p in range(len(order))
    ]
    rider, period, ring, before, after_first = np.array(rows, dtype=float).T
    # Carry-over as B − A, 0 where there is no period before
    columns = [ring, (before - 0.5) * after_first]
    columns += [rider == r for r in range(6 * len(orders))] + [period == p for p in range(1, len(orders[0]))]
    x = np.array(columns, dtype=float).T
    exact = np.linalg.inv(x.T @ x) * 6 * len(orders)
    found = design_variance(spell_design(name))
    assert (found.with_carry_over, found.carry_over) == pytest.approx((exact[0, 0], exact[1, 1]), rel=1e-9)
    without = np.delete(x, 1, axis=1)
    assert found.plain == pytest.approx(np.linalg.inv(without.T @ without)[0, 0] * 6 * len(orders), rel=1e-9)


# Williams 1949, Aust J Sci Res A 2:149; squares as tabled in Jones & Kenward 2014, ch. 4, up to the names of
# treatments.
SQUARES = {
    3: "ABC BCA CAB CBA ACB BAC",
    4: "ABDC BCAD CDBA DACB",
    5: "ABECD BCADE CDBEA DECAB EADBC DCEBA EDACB AEBDC BACED CBDAE",
    6: "ABFCED BCADFE CDBEAF DECFBA EFDACB FAEBDC",
}


@pytest.mark.parametrize("t", SQUARES)
def test_williams_squares(t):
    assert sorted(williams_design("ABCDEF"[:t])) == sorted(SQUARES[t].split())


@pytest.mark.parametrize("t", range(2, 10))
def test_williams_designs_are_balanced(t):
    conditions = [f"ring {i}" for i in range(t)]
    orders = list(williams_design(conditions).values())
    assert len(orders) == (2 * t if t % 2 else t)
    for period in zip(*orders, strict=True):
        assert all(period.count(c) == len(orders) // t for c in conditions)
    neighbours = [pair for order in orders for pair in pairwise(order)]
    assert all(neighbours.count(pair) == (2 if t % 2 else 1) for pair in permutations(conditions, 2))
    # A rider has each ring once, so a difference has variance 2σ²/N at best; and carry-over can be told apart
    found = design_variance(williams_design(conditions))
    assert found.plain == pytest.approx(2, rel=1e-9)
    if t > 2:
        assert found.with_carry_over < 3 and found.warning == ""


def test_a_known_square_passes_the_same_variance():
    # SAS PLAN example (after Cox 1958), 6 × 6: 1 2 6 3 5 4 cyclic; another square with the balance of
    # Williams
    first = [0, 1, 5, 2, 4, 3]
    cyclic = {str(s): [str((place + s) % 6) for place in first] for s in range(6)}
    ours = design_variance(williams_design("ABCDEF"))
    theirs = design_variance(cyclic)
    assert (ours.plain, ours.with_carry_over) == pytest.approx(
        (theirs.plain, theirs.with_carry_over), rel=1e-9
    )


# 2/C(2n, n) for 2+2 to 6+6 riders: 2/6, 2/20, 2/70, 2/252, 2/924.
@pytest.mark.parametrize(("n", "floor"), [(2, 0.33), (3, 0.10), (4, 0.029), (5, 0.0079), (6, 0.0022)])
def test_floor_of_the_relabelling_test(n, floor):
    assert relabelling_floor({"ABBA": n, "BAAB": n}) == pytest.approx(floor, rel=0.02)


@settings(deadline=None)
@given(st.integers(1, 5), st.integers(1, 5), st.integers(0, 10**6))
def test_floor_is_what_relabelling_every_way_can_reach(first, second, seed):
    # Riders whose period difference is large in one sequence and small in the other: no labelling is more
    # extreme
    rng = np.random.default_rng(seed)
    values = np.concatenate([rng.uniform(1, 2, first), rng.uniform(-2, -1, second)])

    def size(chosen: tuple[int, ...]) -> float:
        one = np.isin(np.arange(len(values)), chosen)
        return abs(values[one].mean() - values[~one].mean())

    sizes = [size(chosen) for chosen in combinations(range(first + second), first)]
    as_extreme = np.mean(np.array(sizes) >= sizes[0] - 1e-12)
    assert as_extreme == pytest.approx(relabelling_floor({"AB": first, "BA": second}), rel=1e-12)


def test_designs_are_spelt_with_any_rings():
    assert spell_design("ABB/BAA", "low", "high") == {
        "ABB": ("low", "high", "high"),
        "BAA": ("high", "low", "low"),
    }


@pytest.mark.parametrize("name", ["ABC/BAC", "AB/BAA", "AB/AB", "", "ab/ba"])
def test_misspelt_designs_are_refused(name):
    with pytest.raises(Refusal, match="design"):
        spell_design(name)


def test_other_refusals():
    for conditions in (["one"], ["one", "one"], [str(i) for i in range(27)]):
        with pytest.raises(Refusal, match="conditions"):
            williams_design(conditions)
    for design in ({}, {"A": "A", "B": "B"}, {"AB": "AB", "BAA": "BAA"}, {"AA": "AA", "also": "AA"}):
        with pytest.raises(Refusal, match="design"):
            design_variance(design)
    for counts in ({"AB": 3}, {"AB": 3, "BA": 0}, {"AB": 1, "BA": 1, "AA": 1}):
        with pytest.raises(Refusal, match="riders by sequence"):
            relabelling_floor(counts)
