"""How often zero is rejected without an effect, and how often an interval holds the truth: seeded simulations.

Used by the long tests, and by the script that writes the table of data_synthetic/validation.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from test_curves import smooth_noise

from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.relabelling import relabelling_test

RIDERS = (6, 8, 12, 20)


class Rates(NamedTuple):
    """Share of studies without an effect that reject it, share of intervals that hold the truth, and studies."""

    rejected: float
    covered: float
    runs: int


def simulate_study(rng, riders, effect, response=1.5, intensities=("easy", "hard")):
    """ABBA/BAAB with riders of different level and response, drifting periods and two intensities."""
    rows = []
    drift = rng.normal(size=4)
    for i in range(riders):
        order, level, own = ("ABBA", "BAAB")[i % 2], 10 * rng.normal(), response * rng.normal()
        for period, letter in enumerate(order, start=1):
            day = 0.5 * rng.normal()
            ring = {"A": "round", "B": "oval"}[letter]
            for k, intensity in enumerate(intensities):
                y = level + 30 * k + drift[period - 1] + day + (effect + own) * (letter == "B") + rng.normal()
                rows.append((i, order, period, ring, intensity, y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def ring_effect_rates(riders: int, runs: int = 500) -> Rates:
    """The sequence-adjusted t at 5 %, riders differing in their response."""
    rng = np.random.default_rng(100 + riders)
    rejected, covered = 0, 0
    for _ in range(runs):
        frame = ring_effect(simulate_study(rng, riders, effect=0.0), "y").to_frame().iloc[-1]
        rejected += frame["p"] < 0.05
        # Adding a constant to every oval trial moves estimate and bounds by it, so the truth 0 tells of all truths
        covered += frame["low"] <= 0 <= frame["high"]
    return Rates(rejected / runs, covered / runs, runs)


def relabelling_rates(riders: int, runs: int = 400) -> Rates:
    """The relabelling test at 10 %, where six riders can reject at all."""
    rng = np.random.default_rng(200 + riders)
    rejected, covered = 0, 0
    for _ in range(runs):
        table = simulate_study(rng, riders, effect=1.0, intensities=("easy",))
        bounds = relabelling_test(table, "y").interval(0.90)
        covered += bounds.low <= 1.0 <= bounds.high
        without = table.assign(y=table["y"] - (table["ring"] == "oval"))
        rejected += relabelling_test(without, "y").p <= 0.10
    return Rates(rejected / runs, covered / runs, runs)


def curve_rates(riders: int, runs: int = 1000) -> tuple[Rates, float]:
    """The band of whole curves at 5 %, and how often mean ± 2 standard errors would hold at every angle."""
    rng = np.random.default_rng(300 + riders)
    rejected, covered, pointwise = 0, 0, 0
    # A real effect in one part of the turn, as large as the spread between riders
    truth = np.exp(-0.5 * ((np.arange(72) - 20) / 5) ** 2)
    for run in range(runs):
        noise = smooth_noise(rng, riders)
        rejected += paired_curves(noise, seed=run).p <= 0.05
        band = paired_curves(noise + truth, seed=run)
        covered += ((band.low <= truth) & (truth <= band.high)).all()
        pointwise += (np.abs(band.mean - truth) <= 2.0 * band.se).all()
    return Rates(rejected / runs, covered / runs, runs), pointwise / runs


def axial_coverage(riders: int, concentration: float, runs: int = 3000) -> float:
    """How often the interval of an axial mean holds the true axis."""
    rng = np.random.default_rng(400 + riders)
    covered = 0
    for theta in rng.vonmises(0, concentration, size=(runs, riders)):
        mean = axial_mean(np.degrees(theta) / 2)
        bounds = mean.interval()
        covered += abs(mean.signed_deg) <= (bounds.high - bounds.low) / 2
    return covered / runs
