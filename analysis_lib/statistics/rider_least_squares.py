"""Least squares in which every rider has a level of his own."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import orth
from statsmodels.regression.linear_model import OLS

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate

METHOD = "rider + period + ring least squares"


def indicate(labels: pd.Series, name: object) -> NDArray[np.float64]:
    """Return 1 where a label is the one named, else 0."""
    return np.asarray(labels == name, dtype=float)


def indicate_periods(seen: pd.DataFrame) -> NDArray[np.float64]:
    """Return a column of 0 and 1 for every period but the first."""
    return pd.get_dummies(seen["period"], dtype=float, drop_first=True).to_numpy()


def fit_columns(
    seen: pd.DataFrame,
    columns: Mapping[str, NDArray[np.float64]],
    beside: NDArray[np.float64],
    names: Mapping[str, str],
    unit: str,
) -> tuple[dict[str, Estimate], NDArray[np.float64]]:
    """Fit value = rider + columns + beside by least squares; return the columns' estimates and their correlation.

    Parameters
    ----------
    seen : DataFrame
        rider and value, one row a trial, no value missing.
    columns : mapping of name to array (rows,)
        What is asked for; `names` says how each reads in a sentence.
    beside : array (rows, others)
        What else is in the model.

    Raises
    ------
    Refusal
        No more values than coefficients, or columns that cannot be told from riders and what is beside them.
    """
    rider = pd.get_dummies(seen["rider"].astype(str), dtype=float).to_numpy()
    rest = np.column_stack([rider, beside])
    # Riders and periods may repeat each other, so a basis stands for them; the columns must each add to the rank.
    design = np.column_stack([*columns.values(), orth(rest)])
    if len(seen) <= design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise Refusal(
            next(iter(names.values())),
            f"{len(seen)} values of {rider.shape[1]} riders",
            "enough riders and sequences to tell rings from periods and riders",
            "add riders or sequences, or leave this intensity out",
        )
    fit = OLS(seen["value"].to_numpy(), design).fit()
    k, df, n = len(columns), float(fit.df_resid), rider.shape[1]
    errors = np.where(fit.bse[:k] > 16 * np.finfo(float).eps * seen["value"].abs().max(), fit.bse[:k], 0.0)
    estimates = {
        name: Estimate(names[name], float(value), float(se), df, unit, n, METHOD)
        for name, value, se in zip(columns, fit.params[:k], errors, strict=True)
    }
    covariance = fit.normalized_cov_params[:k, :k]
    scale = np.sqrt(np.diag(covariance))
    return estimates, covariance / np.outer(scale, scale)
