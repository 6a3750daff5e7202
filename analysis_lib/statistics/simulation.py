"""What would the planned study find, if it were done two thousand times on riders as we think they are?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design
from analysis_lib.statistics.estimates import check_level, show_count, show_number
from analysis_lib.statistics.simulated_riders import Beliefs, draw_contrasts

Array = NDArray[np.floating]


@dataclass(frozen=True)
class SimulatedPlan:
    """How often the planned analysis came to which answer.

    Attributes
    ----------
    riders, studies : int
    effect, smallest_effect : float
    power : float
        Share of studies whose interval excludes 0; for an effect of 0 the type-I error.
    coverage : float
        Share of the analysable studies whose interval holds the true effect.
    verdicts : dict of str to float
        Shares of "difference", "equivalent" and "undecided" (empty without a smallest effect); a study that
        could not be analysed is undecided.
    mean_riders : float
        Riders with a contrast, on average.
    not_analysable : float
        Share of studies left with no more riders than sequences.
    mean_se : float
        Standard error of the effect, on average.
    """

    riders: int
    studies: int
    effect: float
    smallest_effect: float | None
    power: float
    coverage: float
    verdicts: dict[str, float]
    mean_riders: float
    not_analysable: float
    mean_se: float

    @property
    def power_se(self) -> float:
        """Monte Carlo standard error of `power`: sqrt(p (1 − p)/studies)."""
        return math.sqrt(self.power * (1 - self.power) / self.studies)

    def sentence(self) -> str:
        """What the simulated studies found, with how sure that is."""
        words = show_shares(self.verdicts)
        return (
            f"{self.studies} simulated studies of {self.riders} riders with a true effect of"
            f" {show_number(self.effect)}: zero excluded in {show_number(self.power, 3)}"
            f" (Monte Carlo standard error {show_number(self.power_se, 3)}),"
            f" {show_number(self.mean_riders, 1)} riders analysed on average"
            + (f"; {words}." if words else ".")
        )


def show_shares(shares: Mapping[str, float]) -> str:
    """Say the shares of one whole in per cent that sum to 100: those with the largest remainders are rounded up.

    >>> show_shares({"difference": 0.336, "equivalent": 0.336, "undecided": 0.328})
    'difference 34%, equivalent 33%, undecided 33%'
    """
    exact = {word: 100 * share for word, share in shares.items()}
    whole = {word: math.floor(share) for word, share in exact.items()}
    by_remainder = sorted(exact, key=lambda word: whole[word] - exact[word])
    for word in by_remainder[: round(sum(exact.values())) - sum(whole.values())]:
        whole[word] += 1
    return ", ".join(f"{word} {share}%" for word, share in whole.items())


def simulate_plan(
    design: Design,
    riders: int,
    effect: float,
    beliefs: Beliefs,
    smallest_effect: float | None = None,
    level: float = 0.95,
    studies: int = 2000,
    seed: int = 0,
    rings: tuple[str, str] = ("round", "oval"),
) -> SimulatedPlan:
    """Simulate whole studies and analyse each as `crossover.ring_effect` would.

    A rider's values are period + ring · (effect + own response) + error; the rider's own level cancels in
    every contrast and is left out. Riders are spread over the sequences as evenly as can be. A rider without
    a value on both rings has no contrast; t is taken on the riders' contrasts, the mean of sequence means.

    Parameters
    ----------
    design : mapping of sequence name to rings in riding order
    riders : int
        Recruited.
    effect : float
        True mean difference, second − first of `rings`.
    beliefs : Beliefs
    smallest_effect : float, optional
        That matters, for the verdicts of `equivalence.judge`.
    level : float
        Of the interval; verdicts use alpha = 1 − level.
    studies, seed : int

    Raises
    ------
    Refusal
        A sequence without both rings or with another, sequences of different length, no more riders than
        sequences, fewer than one study, a smallest effect that is not positive.

    Examples
    --------
    With no drop-outs the power is that of the formula, here 0.789 for AB/BA, 16 riders, contrasts of SD √2
    and an effect of 1.05 (`statistical_power.difference_power`):

    >>> design = {"AB": ("round", "oval"), "BA": ("oval", "round")}
    >>> plan = simulate_plan(design, 16, 1.05, Beliefs(trial_sd=1.0), seed=3)
    >>> abs(plan.power - 0.789) < 4 * plan.power_se
    True
    """
    check_level(level)
    _check_plan(design, riders, studies, smallest_effect, rings)
    rng = np.random.default_rng(seed)
    sequence = np.arange(riders) % len(design)
    contrasts = draw_contrasts(design, sequence, effect, beliefs, studies, rng, rings)
    value, se, df = sequence_adjusted_t(contrasts, sequence)
    known = df > 0
    df = np.where(known, df, 1)
    half = scipy.stats.t.ppf((1 + level) / 2, df) * se
    excludes = known & (np.abs(value) > half)
    holds = np.abs(value - effect) <= half
    verdicts = {}
    if smallest_effect is not None:
        inside = known & (np.abs(value) + scipy.stats.t.ppf(level, df) * se < smallest_effect)
        shares = (~inside & excludes).mean(), inside.mean()
        verdicts = {"difference": float(shares[0]), "equivalent": float(shares[1])}
        verdicts["undecided"] = 1 - sum(verdicts.values())
    return SimulatedPlan(
        riders=riders,
        studies=studies,
        effect=effect,
        smallest_effect=smallest_effect,
        power=float(excludes.mean()),
        coverage=float(holds[known].mean()) if known.any() else math.nan,
        verdicts=verdicts,
        mean_riders=float(np.isfinite(contrasts).sum(axis=1).mean()),
        not_analysable=float((~known).mean()),
        mean_se=float(se[known].mean()) if known.any() else math.nan,
    )


def sequence_adjusted_t(contrasts: Array, sequence: NDArray[np.integer]) -> tuple[Array, Array, Array]:
    """Value, standard error and df of `contrasts.mean_over_sequences` for many studies at once.

    Parameters
    ----------
    contrasts : array (studies, riders)
        NaN for a rider without one. A sequence that nobody is left in drops out of the mean.
    sequence : array (riders,)
        Number of the rider's sequence, from 0.

    Returns
    -------
    value, se, df : array (studies,)
        df is 0 or less, and value and se mean nothing, where no more riders than sequences are left.
    """
    member = (sequence[:, None] == np.arange(sequence.max() + 1)).astype(float)
    seen = np.isfinite(contrasts)
    filled = np.where(seen, contrasts, 0.0)
    counts = seen @ member
    present = counts > 0
    means = filled @ member / np.maximum(counts, 1)
    squares = (np.where(seen, filled - means @ member.T, 0.0) ** 2).sum(axis=1)
    k = np.maximum(present.sum(axis=1), 1)
    df = counts.sum(axis=1) - present.sum(axis=1)
    shares = np.where(present, 1 / np.maximum(counts, 1), 0.0).sum(axis=1)
    se = np.sqrt(squares / np.maximum(df, 1) * shares) / k
    return means.sum(axis=1) / k, se, df


def _check_plan(
    design: Design, riders: int, studies: int, smallest_effect: float | None, rings: tuple[str, str]
) -> None:
    wrong = [name for name, order in design.items() if set(order) != set(rings)]
    if wrong or len({len(order) for order in design.values()}) != 1:
        got = f"sequence {wrong[0]}" if wrong else "sequences of different length"
        wanted = f"both of {rings[0]} and {rings[1]} in every sequence, and as many periods"
        raise Refusal("design", got, wanted, "simulate the sequences that hold both rings")
    if riders <= len(design) or studies < 1:
        got = f"{show_count(riders, 'rider')} in {show_count(len(design), 'sequence')}, {studies} studies"
        raise Refusal("size of the plan", got, "more riders than sequences, and a study or more", "add some")
    if smallest_effect is not None and not smallest_effect > 0:
        raise Refusal("smallest effect that matters", f"{smallest_effect}", "a positive number", "declare it")
