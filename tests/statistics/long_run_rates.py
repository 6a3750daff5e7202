"""How often zero is rejected without an effect, and how often an interval holds the truth: seeded simulations.

Used by the long tests, and by the script that writes the table of data_synthetic/validation.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import stats
from test_curves import smooth_noise

from analysis_lib.statistics.agreement import bland_altman
from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.designs import spell_design
from analysis_lib.statistics.random_field import random_field_threshold
from analysis_lib.statistics.relabelling import relabelling_test
from analysis_lib.statistics.reliability import icc, typical_error
from analysis_lib.statistics.simulated_riders import Beliefs
from analysis_lib.statistics.simulation import sequence_adjusted_t, simulate_plan

RIDERS = (6, 8, 12, 20)
BELIEFS = {
    "riders respond alike": Beliefs(trial_sd=1.0, period_sd=1.0),
    "trials missing": Beliefs(trial_sd=1.0, response_sd=1.5, period_sd=1.0, dropout=0.1, lost=0.1),
}
CONTRAST_WORLDS = (*BELIEFS, "oval trials vary more", "riders scatter unlike")
"""The last: each rider has a trial SD of his own, log-normal, of which the middle 95 % span a factor of seven."""


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


def contrast_rates(riders: int, world: str, runs: int = 20_000) -> Rates:
    """The sequence-adjusted t at 5 % in other worlds, by the plan's vectorised routine for the same analysis.

    `test_simulation` holds that routine against `ring_effect`, study by study.
    """
    rng = np.random.default_rng([800, riders])
    design = spell_design("ABBA/BAAB", "round", "oval")
    if world in BELIEFS:
        found = simulate_plan(design, riders, 0.0, BELIEFS[world], studies=runs, seed=800 + riders)
        return Rates(found.power, found.coverage, runs)
    oval_sd = 3.0 if world == "oval trials vary more" else 1.0
    own = np.exp(rng.normal(0, 0.5, (runs, riders))) if world == "riders scatter unlike" else 1.0
    spread = np.sqrt((oval_sd**2 + 1.0) / 2)
    contrasts = own * spread * rng.normal(size=(runs, riders)) + rng.normal(size=(runs, riders))
    value, se, df = sequence_adjusted_t(contrasts, np.arange(riders) % 2)
    rejected = float(np.mean(2 * stats.t.sf(np.abs(value / se), df) < 0.05))
    return Rates(rejected, 1 - rejected, runs)


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


def adjusted_curve_rates(riders: int, runs: int = 1000) -> tuple[Rates, float]:
    """The band adjusted for two sequences at 5 % under a period effect of two SD, and how seldom the plain one rejects."""
    rng = np.random.default_rng(500 + riders)
    sequence = np.arange(riders) % 2
    added = 2.0 * np.where(sequence == 0, 1.0, -1.0)[:, None]
    rejected, covered, plain = 0, 0, 0
    for run in range(runs):
        curves = smooth_noise(rng, riders) + added
        band = paired_curves(curves, seed=run, sequence=sequence)
        rejected += band.p <= 0.05
        covered += ((band.low <= 0) & (band.high >= 0)).all()
        plain += paired_curves(curves, seed=run).p <= 0.05
    return Rates(rejected / runs, covered / runs, runs), plain / runs


def random_field_rates(riders: int, runs: int = 2000) -> Rates:
    """The threshold of random field theory on a closed curve at 5 %."""
    rng = np.random.default_rng(600 + riders)
    rejected = 0
    for _ in range(runs):
        curves = smooth_noise(rng, riders)
        t = curves.mean(axis=0) / (curves.std(axis=0, ddof=1) / np.sqrt(riders))
        rejected += np.abs(t).max() > random_field_threshold(curves).critical_t
    return Rates(rejected / runs, 1 - rejected / runs, runs)


def repeat_coverage(riders: int, runs: int = 500) -> dict[str, float]:
    """Coverage of the intervals of typical error, intraclass correlation, bias and limits of agreement.

    Two trials a rider: SD 3 between riders, 1 within; the true limit of a difference is 1.96 √2.
    """
    rng = np.random.default_rng(700 + riders)
    held = dict.fromkeys(
        (
            "typical error",
            "ICC(3,1)",
            "bias of agreement",
            "limit of agreement",
            "limit of agreement, skewed",
        ),
        0,
    )
    labels = {"rider": np.repeat(np.arange(riders), 2), "trial": np.tile([0, 1], riders)}
    for _ in range(runs):
        values = 3 * rng.normal(size=(riders, 1)) + rng.normal(size=(riders, 2))
        table = pd.DataFrame(labels | {"y": values.ravel()})
        bounds = typical_error(table, "rider", "trial", "y").interval(0.95)
        held["typical error"] += bounds.low <= 1 <= bounds.high
        form = icc(table, "rider", "trial", "y").set_index("form").loc["ICC(3,1)"]
        held["ICC(3,1)"] += form.low <= 0.9 <= form.high
        agreement = bland_altman(values[:, 0], values[:, 1])
        held["bias of agreement"] += not agreement.bias_interval.excludes(0.0)
        limit = 1.96 * 2**0.5
        held["limit of agreement"] += not agreement.upper_interval.excludes(limit)
        skewed = bland_altman(values[:, 0], values[:, 1], limit_intervals="skewed")
        held["limit of agreement, skewed"] += not skewed.upper_interval.excludes(limit)
    return {name: count / runs for name, count in held.items()}


def axial_coverage(riders: int, concentration: float, runs: int = 3000) -> float:
    """How often the interval of an axial mean holds the true axis."""
    rng = np.random.default_rng(400 + riders)
    covered = 0
    for theta in rng.vonmises(0, concentration, size=(runs, riders)):
        mean = axial_mean(np.degrees(theta) / 2)
        bounds = mean.interval()
        covered += abs(mean.signed_deg) <= (bounds.high - bounds.low) / 2
    return covered / runs
