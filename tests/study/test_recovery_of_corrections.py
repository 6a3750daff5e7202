"""Five hundred made-up laboratories: what was wrong with their recorders comes back within its interval as often as said.

The truth of each run is drawn from a seed; 95 % intervals must hold it in 93 to 97 % of 500 runs, which is ± two standard
errors of such a share (√(0.95 · 0.05 / 500) = 1 %).
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis_lib.signals.calibration import calibrate_statically, hung_mass_torque
from analysis_lib.signals.crank_checks import angle_zero_from_slow_turn
from analysis_lib.signals.zero_drift import fit_zero_drift
from analysis_lib.signals.zero_torque import ZeroCheck

pytestmark = pytest.mark.long
RUNS = 500
LOADS_KG = np.array([0, 5, 10, 15, 20, 15, 10, 5, 0], dtype=float)


def share_held(one_run, seed):
    """Share of runs whose interval holds the truth; a run returns (truth, estimate) pairs by name."""
    held: dict[str, list[bool]] = {}
    for stream in np.random.SeedSequence(seed).spawn(RUNS):
        for name, (truth, estimate) in one_run(np.random.default_rng(stream)).items():
            held.setdefault(name, []).append(not estimate.interval(0.95).excludes(truth))
    return {name: float(np.mean(inside)) for name, inside in held.items()}


def zero_run(rng):
    """Twelve checks over three hours in a room that warms and cools; 0.05 N·m of reading noise."""
    zero, per_degree, per_hour = rng.normal(0, 1), rng.normal(0, 0.05), rng.normal(0, 0.1)
    hours = np.sort(rng.uniform(0, 3, 12))
    warm = 20 + 3 * np.sin(2 * np.pi * hours / 3) + rng.normal(0, 0.5, 12)
    reading = zero + per_degree * (warm - 20) + per_hour * hours + rng.normal(0, 0.05, 12)
    checks = [
        ZeroCheck(3600 * h, w, {"total": r})
        for h, w, r in zip(hours.tolist(), warm.tolist(), reading.tolist(), strict=True)
    ]
    fit = fit_zero_drift(checks, "total")
    centre = zero + per_degree * (warm.mean() - 20) + per_hour * hours.mean()
    return {
        "zero": (centre, fit.zero),
        "temperature coefficient": (per_degree, fit.per_degree),
        "drift": (per_hour, fit.per_hour),
    }


def slope_run(rng):
    """Nine loads up and down on a level crank; 0.1 N·m of reading noise."""
    slope, offset = rng.normal(1, 0.03), rng.normal(0, 0.5)
    applied = hung_mass_torque(LOADS_KG, 0.17)
    found = calibrate_statically(applied, offset + slope * applied + rng.normal(0, 0.1, applied.size))
    return {"slope": (slope, found.slope), "offset": (offset, found.offset)}


def angle_run(rng):
    """One slow turn with ten kilograms on 170 mm; 0.3 N·m of noise in 72 readings."""
    offset_deg = rng.uniform(-20, 20)
    true = np.radians(np.arange(0, 360, 5.0))
    torque = rng.normal(0, 0.5) + hung_mass_torque(10, 0.17, np.degrees(true)) + rng.normal(0, 0.3, true.size)
    return {"angle offset": (offset_deg, angle_zero_from_slow_turn(true + np.radians(offset_deg), torque))}


@pytest.mark.parametrize(
    ("one_run", "seed"), [(zero_run, 11), (slope_run, 12), (angle_run, 13)], ids=["zero", "slope", "angle"]
)
def test_what_was_put_in_comes_back_as_often_as_the_interval_says(one_run, seed):
    for name, share in share_held(one_run, seed).items():
        assert 0.93 <= share <= 0.97, f"{name}: {share:.3f} of {RUNS} intervals hold the truth"
