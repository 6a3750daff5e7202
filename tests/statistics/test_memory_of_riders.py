"""What analyses of very many riders hold at a time: blocks of a study's numbers, not all of them at once."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pandas as pd
import pytest

from analysis_lib.statistics.crossover import ring_mixed_model
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.relabelling import relabelling_test

ORDERS = {"ROOR": ("round", "oval", "oval", "round"), "ORRO": ("oval", "round", "round", "oval")}
ALL_TERMS = ("rider", "rider:ring", "rider:period", "rider:intensity", "rider:ring:intensity")
FEW, MANY = 300, 900


def trials_of(riders):
    """Twelve trials a rider: four periods at three intensities."""
    rng = np.random.default_rng(5)
    rows = [
        (f"R{number}", order, period, ring, intensity, 200 + level + rng.normal(0, 5))
        for number, level in enumerate(rng.normal(0, 30, riders))
        for order in [("ROOR", "ORRO")[number % 2]]
        for period, ring in enumerate(ORDERS[order], start=1)
        for intensity in ("easy", "steady", "hard")
    ]
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "power_W"])


def fit(riders):
    return ring_mixed_model(trials_of(riders), "power_W", random_terms=ALL_TERMS, residual_by_intensity=True)


def relabel(riders):
    return relabelling_test(trials_of(riders), "power_W")


def band(riders):
    curves = np.random.default_rng(6).normal(size=(riders, 360))
    return paired_curves(curves, sequence=[("ROOR", "ORRO")[number % 2] for number in range(riders)])


def peak_bytes(analyse, riders):
    tracemalloc.start()
    try:
        analyse(riders)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    ("analyse", "bytes_a_rider"),
    [
        # Eight variances, each a pattern of 12 x 12 trials with numbers of 8 bytes, are 9.2 kB; V, its inverse, Cholesky's
        # triangle and the padding are 1.2 kB each, tables and columns some 8 kB. The products of all patterns at once
        # would add 9.2 kB each.
        (fit, 26_000),
        # A table of twelve trials, copied; 10 000 allocations would add 10 kB, and 80 kB as numbers of 8 bytes.
        (relabel, 8_000),
        # A curve holds 2.9 kB; 1024 allocations would add 8 kB.
        (band, 6_000),
    ],
    ids=["mixed model", "relabelling", "curves"],
)
def test_memory_grows_with_riders_by_their_own_numbers_alone(analyse, bytes_a_rider):
    analyse(12)  # loads what is loaded when first asked for
    peaks = [peak_bytes(analyse, riders) for riders in (FEW, MANY)]
    assert (peaks[1] - peaks[0]) / (MANY - FEW) < bytes_a_rider
