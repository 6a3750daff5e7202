"""Least squares in which every rider has a level of his own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design
from analysis_lib.statistics.estimates import Estimate, show_count
from analysis_lib.statistics.trial_table import OVERALL, split_intensities

METHOD = "rider + period + ring least squares"
REPEATED = f"{METHOD} on each rider's mean on each ring"


def indicate(labels: pd.Series, name: object) -> NDArray[np.float64]:
    """Return 1 where a label is the one named, else 0."""
    return np.asarray(labels == name, dtype=float)


def indicate_periods(seen: pd.DataFrame) -> NDArray[np.float64]:
    """Return a column of 0 and 1 for every period but the first."""
    return pd.get_dummies(seen["period"], dtype=float, drop_first=True).to_numpy()


def average_repeats(
    seen: pd.DataFrame, *arrays: NDArray[np.float64]
) -> tuple[pd.Series, list[NDArray[np.float64]]]:
    """Average arrays, a row a trial, over each rider's trials on each ring; return also the riders of the means.

    Where a rider rides a ring in several periods, these repeats share the rider's own response to it and are no
    independent trials: their mean counts once. A column of a period becomes the share of it in each mean.
    """
    cells = seen.groupby(["rider", "ring"], sort=False, observed=True)
    place, repeats = cells.ngroup().to_numpy(), cells.size().to_numpy()
    averaging = np.zeros((len(repeats), len(seen)))
    averaging[place, np.arange(len(seen))] = 1 / repeats[place]
    return cells["rider"].first().reset_index(drop=True), [averaging @ array for array in arrays]


def design_of(
    riders: pd.Series, columns: NDArray[np.float64], beside: NDArray[np.float64], quantity: str
) -> NDArray[np.float64]:
    """Return the columns asked for beside a basis of riders and what else is in the model.

    Raises
    ------
    Refusal
        No more values than coefficients, or columns that cannot be told from riders and what is beside them.
    """
    rest = np.column_stack([pd.get_dummies(riders.astype(str), dtype=float).to_numpy(), beside])
    # Riders and periods may repeat each other, so a basis stands for them; the columns must each add to the rank.
    design = np.column_stack([columns, scipy.linalg.orth(rest)])
    if len(riders) <= design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise Refusal(
            quantity,
            f"{len(riders)} values of {show_count(riders.nunique(), 'rider')}",
            "enough riders and sequences to tell rings from periods and riders",
            "add riders or sequences, or leave this intensity out",
        )
    return design


def fit_columns(
    seen: pd.DataFrame,
    columns: Mapping[str, NDArray[np.float64]],
    beside: NDArray[np.float64],
    names: Mapping[str, str],
    unit: str,
) -> tuple[dict[str, Estimate], NDArray[np.float64]]:
    """Fit value = rider + columns + beside by least squares; return the columns' estimates and their correlation.

    Each rider's trials on one ring are averaged first, see `average_repeats`; where each rider rides each ring
    once, that changes nothing.

    Parameters
    ----------
    seen : DataFrame
        rider, ring and value, one row a trial, no value missing.
    columns : mapping of name to array (rows,)
        What is asked for; `names` says how each reads in a sentence.
    beside : array (rows, others)
        What else is in the model.

    Raises
    ------
    Refusal
        As `design_of`.
    """
    values = seen["value"].to_numpy(dtype=float)
    riders, (y, x, other) = average_repeats(seen, values, np.column_stack([*columns.values()]), beside)
    design = design_of(riders, x, other, next(iter(names.values())))
    from statsmodels.regression.linear_model import OLS  # slow to load, and few pages need it

    fit = OLS(y, design).fit()
    k, df, n = len(columns), float(fit.df_resid), int((riders.value_counts() > 1).sum())
    errors = np.where(fit.bse[:k] > 16 * np.finfo(float).eps * np.abs(values).max(), fit.bse[:k], 0.0)
    method = REPEATED if len(riders) < len(seen) else METHOD
    estimates = {
        name: Estimate(names[name], float(value), float(se), df, unit, n, method)
        for name, value, se in zip(columns, fit.params[:k], errors, strict=True)
    }
    covariance = fit.normalized_cov_params[:k, :k]
    scale = np.sqrt(np.diag(covariance))
    return estimates, covariance / np.outer(scale, scale)


def fit_family(
    seen: pd.DataFrame, others: list[str], quantity: str, reference: str, unit: str
) -> tuple[dict[str, Estimate], NDArray[np.float64]]:
    """Contrast the other rings with the reference on the trials seen at one intensity; see `RingsEffect.families`."""
    columns = {name: indicate(seen["ring"], name) for name in others}
    names = {name: f"{quantity}, {name} − {reference}" for name in others}
    return fit_columns(seen, columns, indicate_periods(seen), names, unit)


def who_counts(trials: pd.DataFrame, rings: Sequence[str]) -> pd.DataFrame:
    """Say which riders are in the estimate at each intensity and overall, and why others are not.

    Returns
    -------
    DataFrame
        rider, intensity, ridden, lacking, part, reason. part is "whole", "in part" (a ring without a value; the
        others still count) or "out" (no two rings to compare). "overall", and a change with intensity, take only
        periods with a value at every intensity.
    """
    rows = []
    for intensity, here in split_intensities(trials):
        ridden = here.dropna(subset=["value"]).groupby("rider")["ring"].agg(set)
        lost = "no period with a value at every intensity" if intensity == OVERALL else "no value"
        for rider in pd.unique(trials["rider"]):
            there = [ring for ring in rings if ring in ridden.get(rider, set())]
            gone = [ring for ring in rings if ring not in there]
            part = "out" if len(there) < 2 else "in part" if gone else "whole"
            reason = f"{lost} on {', '.join(gone)}" if gone else ""
            rows.append((rider, intensity, ", ".join(there), ", ".join(gone), part, reason))
    return pd.DataFrame(rows, columns=["rider", "intensity", "ridden", "lacking", "part", "reason"])


@dataclass(frozen=True)
class MeansDesign:
    """What a design gives to the analysis of riders' means on each ring.

    Attributes
    ----------
    variance : float
        Of a ring − the reference, mean over rings, in (variance of a mean)/N, riders spread evenly over sequences.
    share : float
        Mean over riders' means of 1/(periods in it): 1 where each ring is ridden once.
    means, period_columns : float, int
        Means a rider, and how many columns periods take beyond riders.
    """

    variance: float
    share: float
    means: float
    period_columns: int


def design_of_means(design: Design, reference: str) -> MeansDesign:
    """Lay out two riders a sequence and see what their means on each ring can tell.

    Raises
    ------
    Refusal
        Rings that cannot be told from periods and riders.

    Examples
    --------
    ABBA with BAAB: a rider has two means of two periods, so the difference has 2 · (σ²/2)/N:

    >>> two = {"ABBA": ("A", "B", "B", "A"), "BAAB": ("B", "A", "A", "B")}
    >>> found = design_of_means(two, "A")
    >>> round(found.variance, 6), found.share, found.means, found.period_columns
    (2.0, 0.5, 2.0, 1)
    """
    rows = [
        (f"{name} {copy}", period, ring)
        for name, order in design.items()
        for copy in (1, 2)
        for period, ring in enumerate(order)
    ]
    seen = pd.DataFrame(rows, columns=["rider", "period", "ring"])
    others = [ring for ring in pd.unique(seen["ring"]) if ring != reference]
    columns = np.column_stack([indicate(seen["ring"], ring) for ring in others])
    riders, (x, periods, once) = average_repeats(seen, columns, indicate_periods(seen), np.eye(len(seen)))
    whole = design_of(riders, x, periods, "rings of the design")
    variances = np.diag(np.linalg.inv(whole.T @ whole))[: len(others)]
    count = 2 * len(design)
    return MeansDesign(
        variance=float(variances.mean()) * count,
        share=float((once**2).sum(axis=1).mean()),
        means=len(riders) / count,
        period_columns=whole.shape[1] - len(others) - count,
    )
