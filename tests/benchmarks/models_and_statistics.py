"""How quick are the models and the statistics against a plain loop that does the same?

Prints milliseconds and ratios, both measured in this run::

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/models_and_statistics.py
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy import optimize

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mount_criteria import compare_mounts
from analysis_lib.mechanics.ring import Ring
from analysis_lib.reports.rider.rider_legs import stated_legs
from analysis_lib.reports.ring_mechanics.explored_turn import ANGLES, ExplorerBench
from analysis_lib.reports.ring_mechanics.explorer import open_explorer
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.curves import paired_curves
from analysis_lib.statistics.designs import TWO_RING_DESIGNS, spell_design
from analysis_lib.statistics.mixed import fit_mixed_model
from analysis_lib.statistics.simulated_riders import Beliefs
from analysis_lib.statistics.simulation import simulate_plan

RNG = np.random.default_rng(1)
ANGLE = np.arange(360) * 2 * np.pi / 360
TORQUE = 26 * (1 + 0.55 * np.cos(2 * (ANGLE - 1.75)))
OVAL = Drivetrain(Ring.ellipse(50, 1.13), mount_deg=70.0)


def best_ms(work: Callable[[], object], repeats: int = 5) -> float:
    """Return the shortest of several runs in milliseconds."""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return 1000 * min(times)


def show(what: str, quick_ms: float, plain_ms: float) -> None:
    """Print one line."""
    print(
        f"{what:<58} {quick_ms:9.2f} ms   plain loop {plain_ms:10.1f} ms   {plain_ms / quick_ms:8.1f} times"
    )


def step_through_turns(turns: int = 60, steps: int = 3600) -> float:
    """The plain way to a steady speed: step the energy from angle to angle until the turn repeats itself."""
    angle = np.arange(steps) * 2 * np.pi / steps
    torque, gear = np.interp(angle, ANGLE, TORQUE, period=2 * np.pi), OVAL.gear(angle)
    resistance = torque.mean() / gear.mean()
    energy = 0.5 * OVAL.wheel_inertia_kgm2 * (gear[0] * 9.4) ** 2
    for step in range(turns * steps):
        place = step % steps
        energy += (torque[place] - gear[place] * resistance) * 2 * np.pi / steps
    return float(energy)


def steady_speed() -> None:
    """Steady crank speed for 360 angles."""
    show(
        "steady speed, 360 angles",
        best_ms(lambda: OVAL.with_mount(OVAL.mount_deg).steady_speed(TORQUE, 90.0)),
        best_ms(step_through_turns, 1),
    )


def mounting_curves() -> None:
    """Mounting criteria: 180 mounts, 3 intensities, 1000 draws."""
    draws = {name: TORQUE + RNG.normal(0, 0.3, (1000, 360)) for name in ("easy", "steady", "hard")}
    cadence = dict.fromkeys(draws, 90.0)
    quick = best_ms(lambda: compare_mounts(OVAL, draws, cadence, [40.0, 55.0, 70.0, 85.0]), 2)
    sample = draws["easy"][:3]

    def by_mount() -> None:
        for mount in range(0, 180, 20):
            for torque in sample:
                OVAL.with_mount(float(mount)).steady_speed(torque, 90.0)

    show(
        "mounting curves, 180 mounts x 3 x 1000 (loop scaled up)",
        quick,
        best_ms(by_mount, 1) * 20 * 3 * 1000 / 3,
    )


def explorer() -> None:
    """One redraw of the explorer, lines moved over a kept background; the plain way draws the figure anew."""
    strokes = {"steady": TORQUE[:: 360 // ANGLES]}
    bench = ExplorerBench(Drivetrain(Ring.round(50)), strokes, stated_legs(75.0, 0.1725, angles=ANGLES))
    start = {
        "axis_ratio": 1.13,
        "mount_deg": 70.0,
        "crank_load_kgm2": 30.0,
        "cadence_rpm": 90.0,
        "intensity": "steady",
    }
    explorer = open_explorer(bench, **start)
    explorer.html()
    show(
        "explorer, one redraw", best_ms(explorer.html), best_ms(lambda: open_explorer(bench, **start).html())
    )


def mixed_model() -> None:
    """Kenward-Roger fit of 144 rows: 12 riders, ABBA/BAAB, 3 intensities, rider, rider:ring and rider:period."""
    rows = [
        (rider, period, ring == "B", intensity)
        for rider in range(12)
        for period, ring in enumerate("ABBA" if rider % 2 else "BAAB")
        for intensity in range(3)
    ]
    rider, period, oval, intensity = np.array(rows, dtype=int).T
    groups = {"rider": rider, "rider:ring": 2 * rider + oval, "rider:period": 4 * rider + period}
    x = pd.DataFrame({"1": np.ones(144), "oval": oval})
    for k in (1, 2, 3):
        x[f"period {k}"] = (period == k).astype(float)
    for k in (1, 2):
        x[f"intensity {k}"] = (intensity == k).astype(float)
    y = RNG.normal(0, 3, 12)[rider] + RNG.normal(0, 1, 24)[groups["rider:ring"]] + RNG.normal(size=144)
    columns, patterns = x.to_numpy(), [np.equal.outer(g, g) for g in groups.values()]

    def minus_twice_loglik(variances: np.ndarray) -> float:
        v = sum(s * g for s, g in zip(variances, [*patterns, np.eye(144)], strict=True))
        inverse = np.linalg.inv(v)
        information = columns.T @ inverse @ columns
        rest = y - columns @ np.linalg.solve(information, columns.T @ inverse @ y)
        return float(np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + rest @ inverse @ rest)

    def by_dense_search() -> None:
        optimize.minimize(minus_twice_loglik, [1.0] * 4, bounds=[(0, None)] * 3 + [(1e-6, None)])

    quick = best_ms(lambda: fit_mixed_model(y, x, groups).to_frame())
    show("Kenward-Roger fit, 144 rows (dense search for variances)", quick, best_ms(by_dense_search, 3))


def sign_flips() -> None:
    """All 4096 sign flips of 12 riders at 360 angles."""
    differences = RNG.normal(0.2, 1.0, (12, 360))

    def by_flip() -> float:
        largest = 0.0
        for signs in itertools.product((1, -1), repeat=12):
            flipped = differences * np.array(signs)[:, None]
            t = flipped.mean(axis=0) / (flipped.std(axis=0, ddof=1) / np.sqrt(12))
            largest = max(largest, float(np.abs(t).max()))
        return largest

    plain = best_ms(by_flip, 1)
    show("sign flips, 4096 x 360 angles", best_ms(lambda: paired_curves(differences)), plain)
    sequence = [0, 1] * 6
    relabelled = best_ms(lambda: paired_curves(differences, sequence=sequence))
    show("two sequences relabelled, 924 x 360 (loop scaled down)", relabelled, plain * 924 / 4096)


def plan() -> None:
    """2000 simulated studies of 12 riders."""
    name = next(iter(TWO_RING_DESIGNS))
    design = spell_design(name, "round", "oval")
    quick = best_ms(lambda: simulate_plan(design, 12, 2.0, Beliefs(trial_sd=3.0), studies=2000), 2)
    rows = [
        {"rider": f"R{rider}", "sequence": sequence, "period": period, "ring": ring, "intensity": "one"}
        for rider in range(12)
        for sequence, rings in [list(design.items())[rider % len(design)]]
        for period, ring in enumerate(rings, start=1)
    ]
    table = pd.DataFrame(rows).assign(power_W=lambda frame: RNG.normal(200, 3, len(frame)))
    show(
        "plan, 2000 studies (loop scaled up)", quick, best_ms(lambda: ring_effect(table, "power_W"), 3) * 2000
    )


if __name__ == "__main__":
    for measure in (steady_speed, mounting_curves, explorer, mixed_model, sign_flips, plan):
        measure()
