"""What might riders' values be, if they are as the planner believes?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Beliefs:
    """Riders and trials as the planner believes them to be, in the unit of the outcome.

    Attributes
    ----------
    trial_sd : float
        SD within a rider between trials in like conditions, such as a typical error; one trial, or the
        rider's mean over intensities, a period.
    response_sd : float
        SD between riders of the true difference between rings.
    period_sd : float
        SD of the period effects that all riders share (learning, fatigue), drawn anew in every study.
    dropout : float
        Share of riders who stop before the end; each after any period but the last, all alike.
    lost : float
        Share of the remaining trials without a usable value.
    """

    trial_sd: float
    response_sd: float = 0.0
    period_sd: float = 0.0
    dropout: float = 0.0
    lost: float = 0.0

    def __post_init__(self) -> None:
        spreads, shares = (self.response_sd, self.period_sd), (self.dropout, self.lost)
        if not (0 < self.trial_sd < math.inf and all(0 <= sd < math.inf for sd in spreads)):
            got = f"trial_sd {self.trial_sd}, response_sd {self.response_sd}, period_sd {self.period_sd}"
            raise Refusal(
                "spread of riders and trials", got, "a positive trial_sd, the others 0 or more", "mend it"
            )
        if not all(0 <= share < 1 for share in shares):
            got = f"dropout {self.dropout}, lost {self.lost}"
            raise Refusal("missing values", got, "shares of 0 or more, below 1", "write 0.1 for one in ten")


def draw_contrasts(
    design: Design,
    sequence: NDArray[np.integer],
    effect: float,
    beliefs: Beliefs,
    studies: int,
    rng: np.random.Generator,
    rings: tuple[str, str] = ("round", "oval"),
) -> Array:
    """Contrasts (studies, riders) of simulated riders, NaN for a rider without a value on both rings.

    `sequence` holds the number of each rider's sequence, in the order of the design.
    """
    second = np.array([[ring == rings[1] for ring in order] for order in design.values()])[sequence]
    values = draw_values(second, effect, beliefs, studies, rng)
    means = []
    for on_ring in (second, ~second):
        seen = np.isfinite(values) & on_ring
        total, count = np.where(seen, values, 0.0).sum(axis=2), seen.sum(axis=2)
        means.append(np.where(count > 0, total / np.maximum(count, 1), np.nan))
    return means[0] - means[1]


def draw_values(
    second: NDArray[np.bool_], effect: float, beliefs: Beliefs, studies: int, rng: np.random.Generator
) -> Array:
    """Values (studies, riders, periods), NaN where a rider had left or a value was lost.

    `second` (riders, periods) says where a rider rides the second ring.
    """
    riders, periods = second.shape
    response = effect + beliefs.response_sd * rng.standard_normal((studies, riders, 1))
    values = beliefs.trial_sd * rng.standard_normal((studies, riders, periods))
    values += beliefs.period_sd * rng.standard_normal((studies, 1, periods)) + response * second
    leaves = rng.random((studies, riders, 1)) < beliefs.dropout
    after = rng.integers(1, periods, (studies, riders, 1))
    gone = leaves & (np.arange(periods) >= after)
    values[gone | (rng.random(values.shape) < beliefs.lost)] = np.nan
    return values
