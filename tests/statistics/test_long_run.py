"""In the long run: how often is zero rejected without an effect, and how often does an interval hold the truth?

Seeded simulations, minutes long; run with -m long. The bands are four standard errors of the simulation wide.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_curves import smooth_noise

from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.relabelling import relabelling_test

pytestmark = pytest.mark.long

RIDERS = (6, 8, 12, 20)


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


def four_errors(share, runs):
    return 4 * np.sqrt(share * (1 - share) / runs)


@pytest.mark.parametrize("riders", RIDERS)
def test_ring_effect_keeps_its_level_and_its_coverage(riders):
    rng = np.random.default_rng(100 + riders)
    runs, rejected, covered = 500, 0, 0
    for _ in range(runs):
        frame = ring_effect(simulate_study(rng, riders, effect=0.0), "y").to_frame().iloc[-1]
        rejected += frame["p"] < 0.05
        # Adding a constant to every oval trial moves estimate and bounds by it, so the truth 0 tells of all truths
        covered += frame["low"] <= 0 <= frame["high"]
    assert rejected / runs == pytest.approx(0.05, abs=four_errors(0.05, runs))
    assert covered / runs == pytest.approx(0.95, abs=four_errors(0.05, runs))


@pytest.mark.parametrize("riders", RIDERS)
def test_relabelling_keeps_its_level_and_its_coverage(riders):
    rng = np.random.default_rng(200 + riders)
    runs, rejected, covered = 400, 0, 0
    for _ in range(runs):
        table = simulate_study(rng, riders, effect=1.0, intensities=("easy",))
        bounds = relabelling_test(table, "y").interval(0.90)
        covered += bounds.low <= 1.0 <= bounds.high
        without = table.assign(y=table["y"] - (table["ring"] == "oval"))
        rejected += relabelling_test(without, "y").p <= 0.10
    # A permutation test never exceeds its level and loses no more than one step of its floor
    floor = {6: 2 / 20, 8: 2 / 70, 12: 2 / 924, 20: 1 / 10000}[riders]
    assert rejected / runs <= 0.10 + four_errors(0.10, runs)
    assert rejected / runs >= 0.10 - floor - four_errors(0.10, runs)
    assert covered / runs >= 0.90 - four_errors(0.10, runs)


@pytest.mark.parametrize("riders", RIDERS)
def test_paired_curves_keep_their_level_and_their_coverage(riders):
    rng = np.random.default_rng(300 + riders)
    runs, rejected, covered, pointwise = 1000, 0, 0, 0
    # A real effect in one part of the turn, as large as the spread between riders
    truth = np.exp(-0.5 * ((np.arange(72) - 20) / 5) ** 2)
    for run in range(runs):
        noise = smooth_noise(rng, riders)
        rejected += paired_curves(noise, seed=run).p <= 0.05
        band = paired_curves(noise + truth, seed=run)
        covered += ((band.low <= truth) & (truth <= band.high)).all()
        pointwise += (np.abs(band.mean - truth) <= 2.0 * band.se).all()
    step = 2 / 2**riders if riders <= 14 else 1e-4
    assert 0.05 - step - four_errors(0.05, runs) <= rejected / runs <= 0.05 + four_errors(0.05, runs)
    assert covered / runs >= 0.95 - four_errors(0.05, runs)
    # The usual two standard errors hold at every angle in about half the studies
    assert pointwise / runs < 0.65


@pytest.mark.parametrize("riders", RIDERS)
@pytest.mark.parametrize("concentration", [2, 4, 10, 50])
def test_axial_interval_keeps_its_coverage(riders, concentration):
    rng = np.random.default_rng(400 + riders)
    runs, covered = 3000, 0
    for theta in rng.vonmises(0, concentration, size=(runs, riders)):
        mean = axial_mean(np.degrees(theta) / 2)
        bounds = mean.interval()
        reach = (bounds.high - bounds.low) / 2
        covered += abs(mean.signed_deg) <= reach
    assert covered / runs >= 0.95 - four_errors(0.05, runs)
    assert covered / runs <= 0.985
