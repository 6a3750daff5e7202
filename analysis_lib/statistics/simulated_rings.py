"""What would a planned study of several rings find, if it were done two thousand times?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design
from analysis_lib.statistics.estimates import check_level, show_number
from analysis_lib.statistics.many_to_one import equal_critical_t
from analysis_lib.statistics.simulated_riders import Beliefs, draw_values
from analysis_lib.statistics.simulation import SimulatedPlan, show_shares

Array = NDArray[np.floating]
SAME_WITHIN = 1e-9


@dataclass(frozen=True)
class SimulatedRings(SimulatedPlan):
    """How often the planned analysis of several rings came to which answer.

    `effect` is that of every ring − the reference. `power`, `verdicts` and `mean_se` are means over the rings,
    `coverage` the share of studies whose intervals hold all true effects at once.

    Attributes
    ----------
    found_any, found_all : float
        Share of studies whose intervals exclude 0 for any ring (without effects: the chance of a false finding),
        and for all of them.
    """

    found_any: float
    found_all: float

    def sentence(self) -> str:
        """What the simulated studies found, for a ring, for any and for all."""
        words = show_shares(self.verdicts)
        return (
            f"{self.studies} simulated studies of {self.riders} riders, every oval ring with a true effect of"
            f" {show_number(self.effect)}: zero excluded for a ring in {show_number(self.power, 3)}"
            f" (Monte Carlo standard error {show_number(self.power_se, 3)}), for any in"
            f" {show_number(self.found_any, 3)}, for all in {show_number(self.found_all, 3)};"
            f" {show_number(self.mean_riders, 1)} riders with two rings or more on average; of the rings {words}."
        )


def simulate_rings(
    design: Design,
    riders: int,
    effect: float,
    beliefs: Beliefs,
    smallest_effect: float,
    rings: Sequence[str],
    level: float = 0.95,
    studies: int = 2000,
    seed: int = 0,
) -> SimulatedRings:
    """Simulate whole studies and analyse each as `rings.rings_effect` and its verdicts would.

    A rider's values are period + ring + own response + error. A rider responds to every ring, the reference too,
    each with SD response_sd/√2, so that any two rings differ by response_sd from rider to rider. The simultaneous
    bound is that of equally correlated contrasts with the mean correlation of each study.

    Parameters
    ----------
    design : mapping of sequence name to rings in riding order
        A ring may come several times in a sequence.
    riders : int
        Recruited, spread over the sequences as evenly as can be.
    effect : float
        True difference of every ring from the reference.
    smallest_effect : float
        That matters, for the verdicts.
    rings : sequence of str
        The reference first.

    Raises
    ------
    Refusal
        Fewer than one study, fewer than three riders.
    """
    check_level(level)
    if riders < 3 or studies < 1:
        got = f"{riders} riders, {studies} studies"
        raise Refusal("size of the plan", got, "three riders and a study, or more", "add some")
    orders = np.array([[list(rings).index(ring) for ring in order] for order in design.values()])
    ridden = orders[np.arange(riders) % len(orders)]
    values = _draw(ridden, len(rings), effect, beliefs, studies, np.random.default_rng(seed))
    fit = fit_studies(ridden, len(rings), values)
    return judge_studies(fit, values, effect, smallest_effect, level)


@dataclass(frozen=True)
class Fits:
    """What least squares says of many studies.

    Contrasts and their standard errors (studies, rings); df, mean correlation, whether known, and riders with two
    rings or more (studies,).
    """

    value: Array
    se: Array
    df: NDArray[np.integer]
    correlation: Array
    known: NDArray[np.bool_]
    riders: NDArray[np.integer]


def _draw(
    ridden: NDArray[np.integer],
    rings: int,
    effect: float,
    beliefs: Beliefs,
    studies: int,
    rng: np.random.Generator,
) -> Array:
    same = np.zeros(ridden.shape, dtype=bool)
    values = draw_values(same, 0.0, replace(beliefs, response_sd=0.0), studies, rng)
    own = beliefs.response_sd / math.sqrt(2) * rng.standard_normal((studies, len(ridden), rings))
    return values + np.take_along_axis(own, ridden[None], axis=2) + effect * (ridden > 0)


def fit_studies(ridden: NDArray[np.integer], rings: int, values: Array) -> Fits:
    """Least squares of value = rider + period + ring for every study at once, riders taken out first.

    As `rings.rings_effect` does it: each rider's values on one ring are averaged before.
    """
    k = rings - 1
    y, columns, there = _average_repeats(ridden, rings, values)
    count = np.maximum(there.sum(axis=2), 1)
    weighted = columns * there[..., None]
    of_rider = weighted.sum(axis=2)
    information = np.einsum("srki,srkj->sij", weighted, columns)
    information -= np.einsum("sri,srj->sij", of_rider / count[..., None], of_rider)
    total = y.sum(axis=2)
    score = np.einsum("srk,srkq->sq", y, columns) - np.einsum("sr,srq->sq", total / count, of_rider)
    inverse, rank, known = _invert(information, k)
    df = (there.sum(axis=(1, 2)) - (there.sum(axis=2) > 0).sum(axis=1) - rank).astype(int)
    known &= df > 0
    solution = np.einsum("sij,sj->si", inverse, score)
    left = (y**2).sum(axis=(1, 2)) - (total**2 / count).sum(axis=1) - (solution * score).sum(axis=1)
    variance = np.maximum(left, 0.0) / np.maximum(df, 1)
    block = np.where(known[:, None, None], inverse[:, :k, :k], np.eye(k))
    scale = np.sqrt(np.einsum("sii->si", block))
    correlation = block / (scale[:, :, None] * scale[:, None, :])
    mean = (correlation.sum(axis=(1, 2)) - k) / max(k * (k - 1), 1)
    riders = (there.sum(axis=2) > 1).sum(axis=1)
    return Fits(solution[:, :k], np.sqrt(variance)[:, None] * scale, np.maximum(df, 1), mean, known, riders)


def _average_repeats(
    ridden: NDArray[np.integer], rings: int, values: Array
) -> tuple[Array, Array, NDArray[np.floating]]:
    """Means (studies, riders, rings), their columns of rings and shares of periods, and which there are."""
    seen = np.isfinite(values)
    used = seen[..., None] * (ridden[..., None] == np.arange(rings))
    repeats = used.sum(axis=2)
    shares = used / np.maximum(repeats, 1)[:, :, None]
    y = np.einsum("srp,srpk->srk", np.where(seen, values, 0.0), shares)
    ring = np.broadcast_to(np.eye(rings)[:, 1:], (*repeats.shape, rings - 1))
    return y, np.concatenate([ring, shares.swapaxes(2, 3)[..., 1:]], axis=3), (repeats > 0).astype(float)


def _invert(information: Array, wanted: int) -> tuple[Array, NDArray[np.integer], NDArray[np.bool_]]:
    """Pseudo-inverses, ranks, and whether the first `wanted` columns can be told from all others."""
    sizes, axes = np.linalg.eigh(information)
    kept = sizes > SAME_WITHIN * np.maximum(sizes[:, -1:], 1.0)
    inverse = np.einsum("sij,sj,skj->sik", axes, np.where(kept, 1 / np.where(kept, sizes, 1.0), 0.0), axes)
    told = np.einsum("sij,sj,skj->sik", axes, kept.astype(float), axes)[:, :, :wanted]
    apart = np.abs(told - np.eye(information.shape[1])[:, :wanted]).max(axis=(1, 2))
    return inverse, kept.sum(axis=1), apart < 1e-6


def judge_studies(
    fit: Fits, values: Array, effect: float, smallest_effect: float, level: float
) -> SimulatedRings:
    """Gather what the fits of many studies conclude, every ring having the true effect; see `SimulatedRings`."""
    k, alpha = fit.value.shape[1], 1 - level
    bounds = [
        equal_critical_t(k, int(df), level, round(min(max(float(rho), 0.0), 0.99), 2))
        for df, rho in zip(fit.df, fit.correlation, strict=True)
    ]
    half = np.array(bounds)[:, None] * fit.se
    inner = np.asarray(scipy.stats.t.isf(alpha / k, fit.df))[:, None] * fit.se
    known = fit.known[:, None]
    excludes = known & (np.abs(fit.value) > half)
    inside = known & (np.abs(fit.value) + inner < smallest_effect)
    shares = {"difference": float((~inside & excludes).mean()), "equivalent": float(inside.mean())}
    holds = (np.abs(fit.value - effect) <= half).all(axis=1)
    some = bool(fit.known.any())
    return SimulatedRings(
        riders=values.shape[1],
        studies=len(values),
        effect=effect,
        smallest_effect=smallest_effect,
        power=float(excludes.mean()),
        coverage=float(holds[fit.known].mean()) if some else math.nan,
        verdicts={**shares, "undecided": 1 - sum(shares.values())},
        mean_riders=float(fit.riders.mean()),
        not_analysable=float((~fit.known).mean()),
        mean_se=float(fit.se[fit.known].mean()) if some else math.nan,
        found_any=float(excludes.any(axis=1).mean()),
        found_all=float(excludes.all(axis=1).mean()),
    )
