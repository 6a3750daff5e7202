"""How often several rings are found different without an effect, and how often all their intervals hold: simulations.

Studies are fitted by the plan's own routine, which `test_many_to_one` holds against `rings_effect` study by study.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis_lib.statistics.designs import williams_design
from analysis_lib.statistics.simulated_riders import Beliefs, draw_values
from analysis_lib.statistics.simulated_rings import SimulatedRings, fit_studies, judge_studies

RINGS = ("round", "mild", "strong")
STUDIES = 4000
ALIKE = (1.5, 1.5, 1.5)
WORLDS = {
    "riders differ": (ALIKE, Beliefs(1.0, period_sd=1.0)),
    "riders differ, cells missing": (ALIKE, Beliefs(1.0, period_sd=1.0, dropout=0.15, lost=0.1)),
    "riders differ on one ring alone": ((0.0, 0.0, 3.0), Beliefs(1.0, period_sd=1.0)),
}
"""SD between riders of their own response to each ring, in SDs of a trial, and what else is believed."""


def rings_rates(riders: int, world: str) -> SimulatedRings:
    """Three rings without any effect in the orders of Williams: the plan's analysis at 5 %."""
    response, beliefs = WORLDS[world]
    rng = np.random.default_rng(700 + riders)
    orders = np.array([[RINGS.index(ring) for ring in order] for order in williams_design(RINGS).values()])
    ridden = orders[np.arange(riders) % len(orders)]
    values = draw_values(
        np.zeros(ridden.shape, dtype=bool), 0.0, replace(beliefs, response_sd=0.0), STUDIES, rng
    )
    own = np.array(response) * rng.standard_normal((STUDIES, riders, len(RINGS)))
    values = values + np.take_along_axis(own, ridden[None], axis=2)
    return judge_studies(fit_studies(ridden, len(RINGS), values), values, 0.0, 3.0, 0.95)
