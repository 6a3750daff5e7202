"""What do riders, rings and periods as fixed effects say, with nothing assumed about how riders are spread?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate, check_level, show_count
from analysis_lib.statistics.trial_table import (
    check_trials,
    split_intensities,
    tabulate_estimates,
    without_levels,
)

METHOD = "least squares with rider, period and ring fixed"
# A residual spread of no more than this many rounding errors of the values counts as none.
ROUNDING_ERRORS = 64


@dataclass(frozen=True, eq=False)
class FixedRiders:
    """Oval − round by least squares with fixed riders, and what it leaves over.

    Parameters
    ----------
    level : float
        Confidence level of `to_frame`.
    estimates : dict
        Estimate by intensity, in their order, then "overall".
    residuals : DataFrame
        One row a trial: intensity, rider, sequence, period, ring, fitted, residual, standardised (the residual
        over its own standard error).
    """

    level: float
    estimates: dict[object, Estimate]
    residuals: pd.DataFrame

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity and one "overall": intensity, estimate, se, df, t, p, low, high, n."""
        return tabulate_estimates(self.estimates, self.level)


def fixed_rider_effect(table: pd.DataFrame, value: str, level: float = 0.95, unit: str = "") -> FixedRiders:
    """Estimate oval − round with every rider's level as a fixed effect: value = rider + period + ring + error.

    One fit an intensity; "overall" takes the mean over all intensities of a rider's period. Riders who miss a
    period keep the others. In a two-period crossover without gaps it is the sequence-adjusted t of
    `crossover.ring_effect`. Where a ring is ridden in several periods, the error is that from trial to trial
    on one ring: it asks whether the ring did anything to *these* riders, and its interval is too narrow for
    riders in general as soon as they differ in their response.

    Parameters
    ----------
    table, value, level, unit
        As for `crossover.ring_effect`.

    Raises
    ------
    Refusal
        As `trial_table.check_trials`; too few trials, or a ring that cannot be told from periods or riders.

    References
    ----------
    Senn, Cross-over Trials in Clinical Research, 2nd ed. 2002, ch. 3. Jones & Kenward 2014, sec. 5 (fixed
    against random subject effects).

    Examples
    --------
    Two riders AB and one BA, A round: differences between periods 2, 4 and −1, sequence means 3 and −1, so
    half of 3 − (−1) = 2; the residual has 1 df.

    >>> rows = [("A", "AB", 10, 12), ("B", "AB", 10, 14), ("C", "BA", 11, 10)]
    >>> table = pd.DataFrame(
    ...     [(rider, order, p + 1, {"A": "round", "B": "oval"}[order[p]], "200 W", y[p])
    ...      for rider, order, *y in rows for p in (0, 1)],
    ...     columns=["rider", "sequence", "period", "ring", "intensity", "power_W"])
    >>> effect = fixed_rider_effect(table, "power_W").estimates["overall"]
    >>> round(effect.value, 9), effect.df
    (2.0, 1)
    """
    check_level(level)
    trials = check_trials(table, value)
    estimates: dict[object, Estimate] = {}
    residuals: dict[object, pd.DataFrame] = {}
    for intensity, part in split_intensities(trials):
        seen = part.dropna(subset=["value"])
        quantity = f"{value}, oval − round, {intensity}"
        estimates[intensity], residuals[intensity] = _fit(seen, quantity, unit)
    together = pd.concat(residuals, names=["intensity"]).reset_index("intensity").reset_index(drop=True)
    return FixedRiders(level, estimates, together)


def _fit(seen: pd.DataFrame, quantity: str, unit: str) -> tuple[Estimate, pd.DataFrame]:
    y = seen["value"].to_numpy(dtype=float)
    trials = seen.groupby("rider")["value"].transform("size").to_numpy(dtype=float)
    design = without_levels(pd.DataFrame(_design(seen)), seen["rider"]).to_numpy()
    freed = without_levels(pd.DataFrame(y), seen["rider"]).to_numpy()[:, 0]
    n = int(seen["rider"].nunique())
    rank = n + int(np.linalg.matrix_rank(design))
    # The ring must add to the rank, or it is a mixture of riders and periods.
    if rank == n + np.linalg.matrix_rank(design[:, 1:]) or len(y) <= rank:
        raise Refusal(
            quantity,
            f"{show_count(len(y), 'value')} of {show_count(n, 'rider')}",
            "enough riders and sequences to tell rings from periods and riders",
            "add riders or sequences, or leave this part out",
        )
    inverse = np.linalg.pinv(design)
    coefficients, df = inverse @ freed, len(y) - rank
    residual = freed - design @ coefficients
    sd = float(np.sqrt(residual @ residual / df))
    if sd <= ROUNDING_ERRORS * np.finfo(float).eps * np.abs(y).max():
        sd = 0.0
    se = sd * float(np.sqrt(inverse[0] @ inverse[0]))
    leverage = 1 / trials + np.einsum("ij,ji->i", design, inverse)
    columns = ["rider", "sequence", "period", "ring"]
    left = seen[columns].assign(
        fitted=y - residual, residual=residual, standardised=_standardise(residual, sd, leverage)
    )
    return Estimate(quantity, float(coefficients[0]), se, df, unit, n, METHOD), left


def _design(seen: pd.DataFrame) -> NDArray[np.float64]:
    """Ring first, then periods but the first."""
    return np.column_stack(
        [
            (seen["ring"] == "oval").to_numpy(dtype=float),
            pd.get_dummies(seen["period"].astype(str), dtype=float, drop_first=True).to_numpy(),
        ]
    )


def _standardise(
    residual: NDArray[np.float64], sd: float, leverage: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Residual over sd · sqrt(1 − leverage); NaN for a value that its own coefficient fits exactly."""
    free = np.where(leverage < 1 - 1e-9, 1 - leverage, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        return residual / (sd * np.sqrt(free))
