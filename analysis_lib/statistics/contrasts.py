"""What does each rider say about the oval ring? One contrast a rider and intensity, oval − round."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.trial_table import OVERALL, RINGS

OVERALL_RULE = (
    "overall is the plain mean of a rider's contrasts at all intensities: a period that lacks a value at one intensity"
    " still counts at the others, and a rider without a contrast at some intensity is in no overall estimate"
)
"""What becomes of missing values in the overall estimate of one oval ring."""

COLUMNS = ["rider", "sequence", "intensity", "contrast", "periods_round", "periods_oval"]


def rider_contrasts(trials: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Contrast the rings within each rider: mean of the oval periods − mean of the round periods.

    The contrast named "overall" is made by `OVERALL_RULE`.

    Parameters
    ----------
    trials : DataFrame
        As `trial_table.check_trials` returns it.

    Returns
    -------
    contrasts : DataFrame
        rider, sequence, intensity, contrast, periods_round, periods_oval (how many periods each mean rests
        on); for "overall" the periods are summed over intensities.
    left_out : DataFrame
        rider, intensity, reason: a rider without a value on one of the rings at an intensity, and a rider
        without a contrast at every intensity, who cannot be in the overall mean.

    Examples
    --------
    One rider, ABBA, 10 and 12 W on the round ring and 15 and 16 W on the oval: 15.5 − 11 = 4.5 W.
    """
    sequence = trials.drop_duplicates("rider").set_index("rider")["sequence"]
    levels = list(trials["intensity"].cat.categories)
    contrast, periods = _contrast_cells(trials, sequence.index, levels)
    # NaN at one intensity makes the overall mean NaN, which is what leaves the rider out of it.
    contrast = np.column_stack([contrast, contrast.mean(axis=1)])
    periods = np.concatenate([periods, periods.sum(axis=1, keepdims=True)], axis=1)
    everyone = pd.DataFrame(
        {
            "rider": np.repeat(sequence.index, len(levels) + 1),
            "intensity": [*levels, OVERALL] * len(sequence),
            "contrast": contrast.ravel(),
            "periods_round": periods[..., 0].ravel(),
            "periods_oval": periods[..., 1].ravel(),
        }
    )
    everyone["sequence"] = everyone["rider"].map(sequence)
    known = everyone["contrast"].notna()
    return everyone.loc[known, COLUMNS].reset_index(drop=True), _say_who_is_left_out(
        everyone[~known], len(levels)
    )


def _contrast_cells(
    trials: pd.DataFrame, riders: pd.Index, levels: list
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Contrasts, riders by intensities, and numbers of periods, riders by intensities by (round, oval)."""
    seen = trials[trials["value"].notna()]
    cell = (
        riders.get_indexer(pd.Index(seen["rider"])),
        seen["intensity"].cat.codes.to_numpy(),
        (seen["ring"] == "oval").to_numpy(dtype=int),
    )
    sums, periods = (
        np.zeros((len(riders), len(levels), 2)),
        np.zeros((len(riders), len(levels), 2), dtype=int),
    )
    np.add.at(sums, cell, seen["value"].to_numpy())
    np.add.at(periods, cell, 1)
    means = np.divide(sums, periods, out=np.full(sums.shape, np.nan), where=periods > 0)
    return means[..., 1] - means[..., 0], periods


def _say_who_is_left_out(absent: pd.DataFrame, intensities: int) -> pd.DataFrame:
    gaps = Counter(absent.loc[absent["intensity"] != OVERALL, "rider"])
    reasons = []
    columns = ["rider", "intensity", "periods_round", "periods_oval"]
    for rider, intensity, n_round, n_oval in absent[columns].itertuples(index=False, name=None):
        if intensity == OVERALL:
            reasons.append(f"no contrast at {gaps[rider]} of {intensities} intensities")
        else:
            rings = " or the ".join(ring for ring, n in zip(RINGS, (n_round, n_oval), strict=True) if n == 0)
            reasons.append(f"no value on the {rings} ring")
    return absent[["rider", "intensity"]].assign(reason=reasons).reset_index(drop=True)


def mean_over_sequences(
    values: ArrayLike,
    sequences: ArrayLike,
    quantity: str,
    unit: str = "",
    resolution: float = 0.0,
) -> Estimate:
    """Estimate the unweighted mean of the sequence means of a per-rider value.

    estimate = (1/k) Σ m_s, se = (s/k) sqrt(Σ 1/n_s), with s² the variance within the k sequences pooled on
    n − k degrees of freedom. It is the intercept of a least-squares regression on sequence in sum-to-zero
    coding. When sequences mirror one another, period effects cancel in it, whatever the sizes of the
    sequences.

    Parameters
    ----------
    values, sequences : array_like, shape (n,)
        One value and one sequence label a rider.
    quantity, unit : str
        For the Estimate.
    resolution : float
        Rounding error of the values; a standard deviation no larger than this is taken as none.

    Raises
    ------
    Refusal
        Fewer riders than sequences + 1.

    References
    ----------
    Hills & Armitage, Br J Clin Pharmacol 1979;8:7. Senn, Cross-over Trials in Clinical Research, 2nd ed.
    2002, ch. 3.

    Examples
    --------
    Sequence means 2 and 6, so 4; s² = (2 + 2)/2 = 2, se = sqrt(2 · (1/2 + 1/2))/2 = 0.7071 on 2 df:

    >>> effect = mean_over_sequences([1, 3, 5, 7], ["AB", "AB", "BA", "BA"], "x")
    >>> effect.value, round(effect.se, 4), effect.df
    (4.0, 0.7071, 2)
    """
    groups = pd.Series(np.asarray(values, dtype=float)).groupby(np.asarray(sequences))
    n, k = int(groups.size().sum()), groups.ngroups
    if n < 2 or n <= k:
        raise Refusal(
            quantity,
            f"{n} rider{'s' if n != 1 else ''} in {k} sequence{'s' if k != 1 else ''}",
            "at least two riders, and more riders than sequences",
            "add riders, or leave this part out of the table",
        )
    spread = math.sqrt(float((groups.var(ddof=0) * groups.size()).sum()) / (n - k))
    se = spread / k * math.sqrt(float((1 / groups.size()).sum())) if spread > resolution else 0.0
    return Estimate(quantity, float(groups.mean().mean()), se, n - k, unit, n, describe_method(k))


def describe_method(k: int) -> str:
    """Say in words what `mean_over_sequences` does with k sequences."""
    if k == 1:
        return "t on within-rider contrasts of one sequence, period effects not separated"
    return f"t on within-rider contrasts, unweighted mean of {k} sequence means"


def period_weights(trials: pd.DataFrame) -> pd.DataFrame:
    """How much of each period's effect stays in the estimate, by intensity.

    A rider's contrast carries +1/(number of oval periods) of each oval period and −1/(number of round
    periods) of each round one. Averaged over riders within sequence and then over sequences, these weights
    vanish when the sequences mirror one another and nobody misses a period.

    Returns
    -------
    DataFrame
        intensities by periods; 0 where the period effect cancels.

    Examples
    --------
    AB alone leaves −1 of period 1 and +1 of period 2; AB with BA leaves 0 of both.
    """
    seen = trials.dropna(subset=["value"]).copy()
    cell = ["rider", "intensity", "ring"]
    seen["weight"] = seen["ring"].map({"round": -1.0, "oval": 1.0}) / seen.groupby(cell, observed=True)[
        "ring"
    ].transform("size")
    both = seen.groupby(["rider", "intensity"], observed=True)["ring"].transform("nunique") == 2
    by_rider = seen[both].pivot_table(
        index=["intensity", "sequence", "rider"],
        columns="period",
        values="weight",
        aggfunc="sum",
        fill_value=0.0,
        observed=True,
    )
    by_sequence = by_rider.groupby(["intensity", "sequence"], observed=True).mean()
    return by_sequence.groupby("intensity", observed=True).mean()
