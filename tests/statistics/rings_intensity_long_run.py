"""How several rings fare over intensities and on repeated rides when none has an effect: simulations.

Overall, trend and repeated rides are fitted by the plan's own routine, which `test_rings_intensity` holds against
`rings_effect`; ring × intensity by the routine of `rings_effect` itself, study by study.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import williams_design
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.statistics.rings_intensity import ring_by_intensity
from analysis_lib.statistics.rings_relabelling import relabel_rings
from analysis_lib.statistics.simulated_rings import SimulatedRings, fit_studies, judge_studies
from analysis_lib.statistics.trial_table import check_trials

RINGS = ("round", "mild", "strong")
LEVELS = ("easy", "steady", "hard")
STUDIES, FEWER, DEALT = 4000, 400, 200


class World(NamedTuple):
    """SDs of a rider's own response to a ring, at all intensities and at each; of trials by intensity; share lost."""

    response: float = 1.0
    by_intensity: float = 0.7
    trial: tuple[float, float, float] = (1.0, 1.0, 1.0)
    lost: float = 0.0


WORLDS = {
    "riders differ": World(),
    "riders respond alike": World(response=0.0, by_intensity=0.0),
    "riders differ, trials missing": World(lost=0.07),
    "riders differ, hard trials vary more": World(trial=(0.7, 1.0, 2.5)),
}


def ridden(riders: int, there_and_back: bool = False) -> np.ndarray:
    """Ring of each rider in each period, in the orders of Williams, or in these and then back again."""
    orders = [[RINGS.index(ring) for ring in order] for order in williams_design(RINGS).values()]
    if there_and_back:
        orders = [order + order[::-1] for order in orders]
    return np.array(orders)[np.arange(riders) % len(orders)]


def draw(rings: np.ndarray, world: World, studies: int, rng: np.random.Generator) -> np.ndarray:
    """Values (studies, riders, periods, intensities) without any effect; riders' own levels cancel and are left out."""
    shape = (studies, *rings.shape, len(LEVELS))
    response = world.response * rng.standard_normal((studies, len(rings), len(RINGS), 1))
    response = response + world.by_intensity * rng.standard_normal((*response.shape[:3], len(LEVELS)))
    values = np.take_along_axis(response, rings[None, :, :, None], axis=2)
    values = values + rng.standard_normal((studies, 1, rings.shape[1], len(LEVELS)))
    values += 0.5 * rng.standard_normal(shape[:3])[..., None] + np.array(world.trial) * rng.standard_normal(
        shape
    )
    values[rng.random(shape) < world.lost] = np.nan
    return values


def overall_and_trend(riders: int, world: str) -> dict[str, SimulatedRings]:
    """Mean over intensities and change per step, three rings against the first at 5 %."""
    rings = ridden(riders)
    values = draw(rings, WORLDS[world], STUDIES, np.random.default_rng(900 + riders))
    parts = {
        "overall": values.mean(axis=3),
        "trend": (values[..., 2] - values[..., 0]) / 2 + 0 * values[..., 1],
    }
    return {
        name: judge_studies(fit_studies(rings, len(RINGS), part), part, 0.0, 3.0, 0.95)
        for name, part in parts.items()
    }


def tabulate(rings: np.ndarray, values: np.ndarray) -> pd.DataFrame:
    """One study as a table of trials."""
    names = ["".join("ABC"[ring] for ring in order) for order in rings]
    rows = [
        (f"R{rider:02d}", names[rider], period + 1, RINGS[rings[rider, period]], LEVELS[level], y)
        for (rider, period, level), y in np.ndenumerate(values)
    ]
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def interaction_error(riders: int, world: str) -> float:
    """Share of the studies that can be tested in which rings are found to differ unlike by intensity, at 5 %."""
    rings = ridden(riders)
    values = draw(rings, WORLDS[world], FEWER, np.random.default_rng(950 + riders))
    trials = check_trials(tabulate(rings, values[0]), "y", RINGS)
    p_values = []
    for study in values:
        try:
            tests = ring_by_intensity(trials.assign(value=study.ravel()), list(RINGS[1:]), RINGS[0])
        except Refusal:  # six riders who lost a fifth of their periods: nothing is said, so nothing wrong
            continue
        p_values.append(tests["all rings"].p)
    return float(np.mean(np.array(p_values) < 0.05))


def repeat_rates(riders: int, world: str) -> SimulatedRings:
    """Rings ridden there and back, mean over intensities, at 5 %."""
    rings = ridden(riders, there_and_back=True)
    values = draw(rings, WORLDS[world], STUDIES, np.random.default_rng(980 + riders)).mean(axis=3)
    return judge_studies(fit_studies(rings, len(RINGS), values), values, 0.0, 3.0, 0.95)


def dealt_otherwise_error(riders: int, world: str) -> float:
    """Share of studies in which the sequences dealt otherwise find that some ring differs, overall, at 5 %."""
    rings = ridden(riders)
    values = draw(rings, WORLDS[world], DEALT, np.random.default_rng(990 + riders))
    effect = rings_effect(tabulate(rings, values[0]), "y", RINGS)
    tests = (
        relabel_rings(replace(effect, trials=effect.trials.assign(value=study.ravel())), seed=number)
        for number, study in enumerate(values)
    )
    return float(np.mean([test.p <= 0.05 for test in tests]))
