"""Does the oval ring change the outcome for this one rider, who rode both rings many times?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval, check_level
from analysis_lib.statistics.relabelling import RelabellingTest
from analysis_lib.statistics.serial import block_indices
from analysis_lib.statistics.trial_table import check_trials, split_intensities

MOST_EXACT = 200_000
RANDOM_SCHEDULES = 9999
FEWEST_PERIODS = 6


@dataclass(frozen=True, eq=False)
class SingleRiderEffect:
    """Oval − round of one rider, with a randomisation test over the schedule and bootstrap draws.

    Parameters
    ----------
    test : RelabellingTest
        The effect under every schedule that could have been drawn; estimate, p, floor and interval.
    draws : ndarray
        Block-bootstrap draws of the effect.
    block_length : int
        Periods a block.
    periods_round, periods_oval : int
        Periods with a value on each ring.
    """

    test: RelabellingTest
    draws: NDArray[np.float64]
    block_length: int
    periods_round: int
    periods_oval: int

    def bootstrap_interval(self, level: float = 0.95) -> Interval:
        """Percentile interval of the block bootstrap, which lets neighbouring periods be alike.

        It rests on few periods and is too narrow by a tenth or more; the interval of the test is the one to
        report, this one shows whether drift over the periods would change it.
        """
        check_level(level)
        low, high = np.quantile(self.draws, [(1 - level) / 2, (1 + level) / 2])
        return Interval(float(low), float(high), level)

    def sentence(self, level: float = 0.95) -> str:
        """One sentence for the rider's page."""
        return self.test.sentence(level)


def single_rider_effect(
    table: pd.DataFrame,
    value: str,
    schedule: Literal["pairs", "free"],
    draws: int = 4000,
    seed: int = 0,
    unit: str = "",
) -> SingleRiderEffect:
    """Estimate one rider's oval − round from many periods whose order of rings was drawn by lot.

    The statistic is the mean of the oval periods − the mean of the round ones, each period the mean of its
    intensities. It is held against every schedule that the lot could have given: "pairs" when the order was
    drawn within successive pairs of periods (2 to the number of pairs), "free" when the oval periods were
    drawn among all of them. The schedule must be as it was drawn, or the test means nothing.

    The bootstrap keeps the ring means, draws circular blocks of successive residuals, widened by
    sqrt(T/(T − 2)) for the two means, and takes the effect again. The block length is T^(1/3), rounded up:
    too few periods to choose it from the data.

    Parameters
    ----------
    table, value : DataFrame, str
        As for `crossover.ring_effect`, with one rider.
    schedule : {"pairs", "free"}
        How the order was drawn.
    draws : int
        Bootstrap draws.
    seed : int
        For the bootstrap, and for random schedules where there are more than 200 000.
    unit : str
        Unit of the outcome, for sentences.

    Raises
    ------
    Refusal
        More than one rider, values that do not vary, fewer than six periods with a value or fewer than two on a
        ring, pairs that do not hold one of each ring, or an unknown schedule.

    References
    ----------
    Edgington & Onghena, Randomization Tests, 4th ed. 2007, ch. 11 (single-subject designs). Künsch, Ann Stat
    1989;17:1217 (blocks).
    """
    part = _read_periods(table, value, schedule)
    oval, y = (part["ring"] == "oval").to_numpy(), part["value"].to_numpy()
    masks, exact = _schedules(oval, schedule, seed)
    weights = np.where(masks, 1 / masks.sum(axis=1, keepdims=True), -1 / (~masks).sum(axis=1, keepdims=True))
    quantity = f"{value}, oval − round, rider {part['rider'].iloc[0]}"
    test = RelabellingTest(quantity, weights @ y, weights @ oval.astype(float), exact, len(y), unit)
    block = math.ceil(len(y) ** (1 / 3))
    resampled = _resample(y, oval, block, draws, np.random.default_rng(seed))
    return SingleRiderEffect(test, resampled, block, int((~oval).sum()), int(oval.sum()))


def _read_periods(table: pd.DataFrame, value: str, schedule: str) -> pd.DataFrame:
    trials = check_trials(table, value)
    riders = pd.unique(trials["rider"])
    if len(riders) != 1:
        raise Refusal("riders", f"{len(riders)}", "one", "use ring_effect for a group")
    _, whole = split_intensities(trials)[-1]
    part = whole.dropna(subset=["value"]).sort_values("period")
    if schedule == "pairs":
        part = _whole_pairs(part)
    if len(part) and np.ptp(part["value"].to_numpy()) == 0:
        raise Refusal(
            f"{value} of rider {riders[0]}",
            f"{part['value'].iloc[0]:g} in every period",
            "values that vary",
            "look for copied values, or for a scale too coarse to tell periods apart",
        )
    fewest = part["ring"].value_counts().reindex(["round", "oval"], fill_value=0).min()
    if len(part) < FEWEST_PERIODS or fewest < 2:
        raise Refusal(
            f"periods of rider {riders[0]}",
            f"{len(part)} with a value, {fewest} on the rarer ring",
            f"at least {FEWEST_PERIODS}, two or more on each ring",
            "ride more periods before asking about one rider",
        )
    return part


def _whole_pairs(periods: pd.DataFrame) -> pd.DataFrame:
    """Keep the pairs (1, 2), (3, 4), … of which both periods have a value: the lot turned these, and no others."""
    pair = (periods["period"].astype(int) - 1) // 2
    return periods[pair.groupby(pair).transform("size") == 2]


def _schedules(oval: NDArray[np.bool_], schedule: str, seed: int) -> tuple[NDArray[np.bool_], bool]:
    """All schedules that the lot could have given, or random ones, as masks; the real one first."""
    if schedule == "pairs":
        return _pair_schedules(oval, seed)
    if schedule != "free":
        raise Refusal("schedule", repr(schedule), "'pairs' or 'free'", "say how the order was drawn")
    n, size = len(oval), int(oval.sum())
    if math.comb(n, size) > MOST_EXACT:
        shuffled = np.random.default_rng(seed).permuted(np.tile(oval, (RANDOM_SCHEDULES, 1)), axis=1)
        return np.vstack([oval, shuffled]), False
    chosen = np.array(list(combinations(range(n), size)))
    masks = np.zeros((len(chosen), n), dtype=bool)
    masks[np.arange(len(chosen))[:, None], chosen] = True
    return _put_first(masks, oval), True


def _pair_schedules(oval: NDArray[np.bool_], seed: int) -> tuple[NDArray[np.bool_], bool]:
    if len(oval) % 2 or (oval[::2] == oval[1::2]).any():
        raise Refusal(
            "schedule in pairs",
            f"rings {', '.join('oval' if ridden else 'round' for ridden in oval)}",
            "one oval and one round period in every successive pair",
            "leave out a pair that lost a period, or say how the order was drawn",
        )
    pairs = len(oval) // 2
    if 2**pairs > MOST_EXACT:
        turned = np.random.default_rng(seed).integers(0, 2, size=(RANDOM_SCHEDULES, pairs)).astype(bool)
        turned = np.vstack([np.zeros(pairs, dtype=bool), turned])
        return oval ^ np.repeat(turned, 2, axis=1), False
    turned = np.array(list(product([False, True], repeat=pairs)))
    return oval ^ np.repeat(turned, 2, axis=1), True


def _put_first(masks: NDArray[np.bool_], real: NDArray[np.bool_]) -> NDArray[np.bool_]:
    here = (masks == real).all(axis=1)
    return np.vstack([masks[here], masks[~here]])


def _resample(
    y: NDArray[np.float64], oval: NDArray[np.bool_], block: int, draws: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    means = np.where(oval, y[oval].mean(), y[~oval].mean())
    residuals = (y - means) * math.sqrt(len(y) / (len(y) - 2))
    drawn = means + residuals[block_indices(len(y), block, draws, rng)]
    return drawn[:, oval].mean(axis=1) - drawn[:, ~oval].mean(axis=1)
