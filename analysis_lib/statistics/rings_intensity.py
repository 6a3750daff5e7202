"""Does what each of several rings does change from one intensity to the next?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.rider_least_squares import (
    average_repeats,
    design_of,
    fit_family,
    indicate,
    indicate_periods,
)
from analysis_lib.statistics.sensitivity import JointTest, read_scores

Array = NDArray[np.float64]
METHOD = "rider + period + ring model of the differences between intensities"


def fit_trends(
    trials: pd.DataFrame, others: list[str], quantity: str, reference: str, unit: str, scores: Sequence | None
) -> tuple[dict[str, Estimate], Array]:
    """Estimate how each ring − the reference changes with intensity, on the slopes of the riders' periods.

    A period's slope is Σ (x − x̄) y / Σ (x − x̄)², y the value at an intensity and x its score; slopes are then
    fitted like the values themselves: slope = rider + period + ring. A period that lacks an intensity has none.

    Parameters
    ----------
    trials : DataFrame
        As `trial_table.check_trials` returns it.
    scores : sequence of float, optional
        As in `sensitivity.trend`.

    Returns
    -------
    As `rider_least_squares.fit_family`; estimates in `unit` per step or unit of intensity.

    Raises
    ------
    Refusal
        As `sensitivity.trend` and `fit_family`.

    Examples
    --------
    A rider's 200, 204 and 208 W on the round ring and 201, 207 and 213 W on the oval, at three intensities: slopes
    4 and 6, so the difference grows by 2 W a step.
    """
    x, per = read_scores(list(trials["intensity"].cat.categories), scores)
    cells, values = _whole_periods(trials)
    centred = x - x.mean()
    steepness = cells.assign(value=values @ centred / (centred @ centred))
    estimates, correlation = fit_family(
        steepness, others, f"{quantity}, change per {per}", reference, f"{unit} per {per}".strip()
    )
    # A slope far below the rounding of the values themselves is none.
    smallest = 16 * np.finfo(float).eps * float(np.abs(values).max()) / float(np.abs(centred).max())
    return {ring: e if e.se > smallest else replace(e, se=0.0) for ring, e in estimates.items()}, correlation


def ring_by_intensity(trials: pd.DataFrame, others: list[str], reference: str) -> dict[str, JointTest]:
    """Test that rings differ by the same at every intensity: all rings together, then each against the reference.

    The p = (intensities − 1) successive differences of each rider's period follow rider + period + ring. Wilks's
    Λ = |E| / |E + H|, with E the residual squares and products on ν degrees of freedom and H those of the q
    contrasts; with w = ν − (p − q + 1)/2 and t = √((p²q² − 4)/(p² + q² − 5)), or 1 where pq = 2 or p = q = 1,
    F = (Λ^(−1/t) − 1) (wt − pq/2 + 1)/(pq) on pq and wt − pq/2 + 1 degrees of freedom. That is exact where p or q
    is 1 or 2, so for one ring (Hotelling's T²), for two, and for up to three intensities; else a close
    approximation (Rao 1951). Nothing is assumed about how intensities correlate.

    Returns
    -------
    dict
        "all rings", then by ring.

    Raises
    ------
    Refusal
        One intensity alone; too few whole periods; differences that do not vary on their own.

    References
    ----------
    Wilks, Biometrika 1932;24:471. Rao, Bull Int Stat Inst 1951;33:177.
    """
    levels = trials["intensity"].cat.categories
    if len(levels) < 2:
        wanted, remedy = "at least two", "the contrasts at one intensity are the answer"
        raise Refusal("ring × intensity", "one intensity", wanted, remedy)
    cells, values = _whole_periods(trials)
    indicators = np.column_stack([indicate(cells["ring"], name) for name in others])
    riders, (steps, rings, periods) = average_repeats(
        cells, np.diff(values, axis=1), indicators, indicate_periods(cells)
    )
    design = design_of(riders, rings, periods, "ring × intensity")
    found, covariance, error, freedom = _fit_together(steps, design)
    p = steps.shape[1]
    spread = np.sqrt(np.diag(error) / max(freedom, 1))
    varies = spread > 16 * np.finfo(float).eps * float(np.abs(values).max())
    if freedom < p or not varies.all() or np.linalg.matrix_rank(error / np.outer(spread, spread)) < p:
        got = f"{freedom} degrees of freedom for {p} differences between intensities"
        remedy = "use the trend over intensity, which needs fewer riders, and look for copied values"
        raise Refusal("ring × intensity", got, "more of them, each varying on its own", remedy)
    n = int((riders.value_counts() > 1).sum())
    families = {"all rings": list(range(len(others)))} | {name: [k] for k, name in enumerate(others)}
    tests = {}
    for name, rows in families.items():
        asked = f"Ring × intensity, {name if name == 'all rings' else f'{name} − {reference}'}"
        within = np.linalg.inv(covariance[np.ix_(rows, rows)])
        h = found[rows].T @ within @ found[rows]
        ratio = math.exp(np.linalg.slogdet(error)[1] - np.linalg.slogdet(error + h)[1])
        tests[name] = JointTest(asked, *_rao_f(ratio, p, len(rows), freedom), n, METHOD)
    return tests


def _whole_periods(trials: pd.DataFrame) -> tuple[pd.DataFrame, Array]:
    """Periods of riders with a value at every intensity: who and when, and values (periods, intensities)."""
    wide = trials.pivot_table(
        index=["rider", "period", "ring"], columns="intensity", values="value", observed=False, sort=False
    )
    whole = wide.reindex(columns=trials["intensity"].cat.categories).dropna()
    return whole.index.to_frame(index=False), whole.to_numpy()


def _fit_together(steps: Array, design: Array) -> tuple[NDArray, NDArray, NDArray, int]:
    """Coefficients, (X'X)⁻¹, residual squares and products, and their degrees of freedom."""
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ steps
    rest = steps - design @ found
    return found, inverse, rest.T @ rest, len(design) - design.shape[1]


def _rao_f(ratio: float, p: int, q: int, freedom: int) -> tuple[float, float, float, float]:
    """F, its two degrees of freedom and p of Wilks's Λ."""
    sizes = p**2 + q**2 - 5
    t = math.sqrt((p**2 * q**2 - 4) / sizes) if sizes > 0 else 1.0
    df_between = p * q
    df_within = (freedom - (p - q + 1) / 2) * t - p * q / 2 + 1
    f = (ratio ** (-1 / t) - 1) * df_within / df_between
    return f, float(df_between), df_within, float(scipy.stats.f.sf(f, df_between, df_within))
