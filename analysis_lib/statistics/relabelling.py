"""Would the ring effect look as large if the riders had been given one another's sequences?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.equivalence import Word
from analysis_lib.statistics.estimates import (
    Interval,
    check_level,
    decimals_for,
    show_level,
    show_number,
    show_p,
)
from analysis_lib.statistics.random_blocks import ROWS_AT_ONCE, deal_at_random
from analysis_lib.statistics.trial_table import OVERALL, check_trials, ring_order, split_intensities

MOST_EXACT = 20_000
TIE = 1e-9


@dataclass(frozen=True, eq=False)
class RelabellingTest:
    """An effect held against the same statistic under other allocations that chance could have given.

    Parameters
    ----------
    quantity : str
        What was estimated.
    effects : ndarray
        The statistic under each allocation, the one that happened first.
    exposures : ndarray
        By how much each of these would fall if the ring had added 1 to every oval trial; 1 for the first.
    exact : bool
        Whether these are all allocations.
    n : int
        Riders, or periods of one rider.
    unit : str
    """

    quantity: str
    effects: NDArray[np.float64]
    exposures: NDArray[np.float64]
    exact: bool
    n: int
    unit: str = ""

    @property
    def estimate(self) -> float:
        """Oval − round."""
        return float(self.effects[0])

    @property
    def relabellings(self) -> int:
        """How many allocations p rests on, without counting the observed one twice."""
        return len(self.effects) if self.exact else len(self.effects) - 1

    @property
    def p(self) -> float:
        """Two-sided: share of allocations whose |effect| reaches the observed; never 0."""
        return float(np.mean(np.abs(self.effects) >= abs(self.effects[0]) * (1 - TIE)))

    @property
    def smallest_p(self) -> float:
        """The floor: the smallest p that this study could have given, however large the effect."""
        always = np.abs(self.exposures) >= 1 - TIE
        return float(np.mean(always)) if self.exact else 1 / len(self.effects)

    @property
    def method(self) -> str:
        """How it was made, in words."""
        kind = "all" if self.exact else "random"
        floor = f"smallest possible p {self.smallest_p:.2g}"
        return f"relabelling test, {kind} {self.relabellings} allocations, {floor}"

    def interval(self, level: float = 0.95) -> Interval:
        """All effects that the test would not reject at 1 − level, assuming that the ring adds a constant.

        Taking δ from every oval trial changes the statistic of an allocation to effect − δ · exposure, so
        each allocation reaches the observed one for δ between two crossings; the bounds are where the share
        of such allocations passes 1 − level. Infinite when the floor is above 1 − level.
        """
        check_level(level)
        a, b, seen = self.effects, self.exposures, self.effects[0]
        with np.errstate(divide="ignore", invalid="ignore"):
            crossings = np.array([(seen - a) / (1 - b), (seen + a) / (1 + b)])
        # An allocation with exposure ±1 is the observed one or its mirror image and reaches it for every δ.
        always = np.abs(b) >= 1 - TIE
        low = np.sort(np.where(always, -np.inf, crossings.min(axis=0)))
        high = np.sort(np.where(always, np.inf, crossings.max(axis=0)))
        skipped = math.floor((1 - level) * len(a) + TIE)
        return Interval(float(low[skipped]), float(high[len(a) - 1 - skipped]), level)

    def verdict(self, smallest_effect: float) -> Word:
        """Decide as `equivalence.judge` does: equivalent by the 90 % interval, else difference by p < 0.05."""
        narrow = self.interval(0.90)
        if -smallest_effect < narrow.low and narrow.high < smallest_effect:
            return "equivalent"
        return "difference" if self.p < 0.05 else "undecided"

    def sentence(self, level: float = 0.95) -> str:
        """Effect, interval and p, then what p is, the floor with it; digits by the effects' scatter over allocations."""
        bounds, decimals = self.interval(level), decimals_for(float(np.std(self.effects)))
        low, high = show_number(bounds.low, decimals), show_number(bounds.high, decimals)
        unit = f" {self.unit}" if self.unit else ""
        reach = (
            f"no {show_level(level)} interval, for so few allocations rule nothing out at that level"
            if math.isinf(bounds.low) and math.isinf(bounds.high)
            else f"{show_level(level)} interval {low} to {high}"
        )
        effect = f"{show_number(self.estimate, decimals, signed=True)}{unit}"
        count = self.relabellings
        those = f"all {count} allocations" if self.exact else f"the observed and {count} random allocations"
        return (
            f"{self.quantity}: {effect} ({reach}; n = {self.n}; {show_p(self.p)}). Here p is the share of {those}"
            f" with an effect as large in either direction, smallest possible p {self.smallest_p:.2g}"
        )


def relabelling_test(
    table: pd.DataFrame, value: str, intensity: object = OVERALL, seed: int = 0, unit: str = ""
) -> RelabellingTest:
    """Test the ring effect by giving the riders one another's sequences.

    The sequences were given out by chance, so if the ring does nothing a rider's values by period would have
    been the same in any sequence. Every way to share out the same numbers of sequences is tried, up to
    20 000; beyond that 9999 at random, with p = (1 + those that reach the observed)/(1 + 9999). The statistic
    is that of `crossover.ring_effect`, but "overall" is made of periods (`trial_table.OVERALL_OF_PERIODS`): the two differ
    where a period lacks an intensity. Nothing is assumed about distributions or period effects. With two
    sequences it is the permutation test of the riders' period differences.

    Parameters
    ----------
    table, value : DataFrame, str
        As for `crossover.ring_effect`.
    intensity : label
        One intensity, or "overall" for the mean of all of them, period by period.
    seed : int
        For random relabellings.
    unit : str
        Unit of the outcome, for the sentence.

    Returns
    -------
    RelabellingTest
        Riders whose missing periods leave a ring without values in any of the sequences are left out.

    Raises
    ------
    Refusal
        One sequence alone, an unknown intensity, a sequence without riders, or values that do not vary.

    References
    ----------
    Edgington & Onghena, Randomization Tests, 4th ed. 2007. Ernst, Stat Sci 2004;19:676.

    Examples
    --------
    Two riders a sequence can be relabelled in 6 ways, of which the observed and its mirror image are equally
    extreme: p cannot be below 2/6.
    """
    trials = check_trials(table, value)
    parts = dict(split_intensities(trials))
    if intensity not in parts:
        known = ", ".join(map(str, parts))
        raise Refusal("intensity", repr(intensity), f"one of {known}", "use a label of the table")
    effects, exposures, sequence = _contrasts_in_any_sequence(parts[intensity], ring_order(trials))
    sizes = np.bincount(sequence, minlength=effects.shape[1])
    if len(sizes) < 2 or (sizes == 0).any():
        raise Refusal(
            "relabelling test",
            f"{len(sizes)} sequence{'s' if len(sizes) != 1 else ''} with {sizes.tolist()} complete riders",
            "riders in at least two sequences",
            "report the interval of ring_effect; there is nothing to relabel",
        )
    if np.abs(effects).max() <= TIE * max(float(parts[intensity]["value"].abs().max()), TIE):
        raise Refusal(
            f"{value}, relabelling test",
            "the same values on both rings in every period",
            "values that vary",
            "look for copied values; there is nothing to relabel",
        )
    allocations, exact = allocate(sequence, sizes, seed)
    weights = 1 / (len(sizes) * sizes)
    parts_of = effects * weights, exposures * weights
    sums = [[_sum_over_riders(parts, some) for parts in parts_of] for some in allocations]
    under_each, exposures_of_each = (np.concatenate(those) for those in zip(*sums, strict=True))
    return RelabellingTest(
        f"{value}, oval − round, {intensity}",
        under_each,
        exposures_of_each,
        exact,
        len(sequence),
        unit,
    )


def _sum_over_riders(parts: NDArray[np.float64], allocations: NDArray) -> NDArray[np.float64]:
    """Sum each rider's part in the sequence that an allocation gives him."""
    return parts[np.arange(len(parts)), allocations].sum(axis=1)


def _contrasts_in_any_sequence(
    part: pd.DataFrame, order: pd.DataFrame
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.intp]]:
    """Riders by sequences: contrast of the values, and of the rings ridden, had the rider ridden each."""
    seen = part.dropna(subset=["value"])
    values = seen.pivot_table(index="rider", columns="period", values="value").reindex(columns=order.columns)
    rode_oval = seen.assign(oval=seen["ring"] == "oval").pivot_table(
        index="rider", columns="period", values="oval", aggfunc="mean"
    )
    y, x = values.to_numpy(), rode_oval.reindex(columns=order.columns).to_numpy(dtype=float)
    there = np.isfinite(y).astype(float)
    effects, exposures = [], []
    for rings in order.to_numpy():
        oval, round_ = ((rings == name) * there for name in ("oval", "round"))
        with np.errstate(invalid="ignore"):
            weights = oval / oval.sum(axis=1, keepdims=True) - round_ / round_.sum(axis=1, keepdims=True)
        effects.append((weights * np.nan_to_num(y)).sum(axis=1))
        exposures.append((weights * np.nan_to_num(x)).sum(axis=1))
    complete = np.isfinite(effects).all(axis=0)
    labels = seen.drop_duplicates("rider").set_index("rider")["sequence"].loc[values.index]
    sequence = order.index.get_indexer(pd.Index(labels))
    return np.array(effects).T[complete], np.array(exposures).T[complete], sequence[complete]


def allocate(sequence: NDArray[np.intp], sizes: NDArray, seed: int) -> tuple[Iterator[NDArray], bool]:
    """All ways to share out the sequences, or random ones, some at a time to spare memory; the one that happened first."""
    n = len(sequence)
    ways = math.factorial(n) // math.prod(math.factorial(int(size)) for size in sizes)
    if ways > MOST_EXACT:
        return deal_at_random(sequence, seed), False
    everything = np.array(list(_share_out(list(range(n)), [int(size) for size in sizes])))
    observed = (everything == sequence).all(axis=1)
    ordered = np.vstack([everything[observed], everything[~observed]])
    return (ordered[start : start + ROWS_AT_ONCE] for start in range(0, len(ordered), ROWS_AT_ONCE)), True


def _share_out(riders: list[int], sizes: list[int], first: int = 0) -> Iterator[list[int]]:
    """Every way to give sequence `first` to sizes[0] of these riders, the next to sizes[1] of the rest, …"""
    if len(sizes) == 1:
        yield [first] * len(riders)
        return
    for chosen in combinations(range(len(riders)), sizes[0]):
        rest = [place for place in range(len(riders)) if place not in chosen]
        for later in _share_out([riders[place] for place in rest], sizes[1:], first + 1):
            labels = [first] * len(riders)
            for place, label in zip(rest, later, strict=True):
                labels[place] = label
            yield labels
