"""How large are fixed effects when rows come in groups, such as trials of the same rider?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.denominator_df import DfMethod, kenward_roger, satterthwaite
from analysis_lib.statistics.fitted_mixed_model import MixedModel
from analysis_lib.statistics.likelihood_search import maximise_likelihood
from analysis_lib.statistics.mixed_data import MixedData, check_components_differ, read_mixed_data
from analysis_lib.statistics.restricted_likelihood import LikelihoodPoint, evaluate_likelihood
from analysis_lib.statistics.row_blocks import gather_blocks

__all__ = ["MixedModel", "fit_mixed_model"]

Array = NDArray[np.floating]

DF_METHODS = {
    "kenward-roger": ("Kenward-Roger", kenward_roger),
    "satterthwaite": ("Satterthwaite", satterthwaite),
}


def fit_mixed_model(
    y: ArrayLike,
    X: pd.DataFrame,
    groups: Mapping[str, Iterable],
    df_method: DfMethod = "kenward-roger",
    residual_groups: Iterable | None = None,
    slopes: Mapping[str, ArrayLike] | None = None,
    slopes_correlate: bool = True,
) -> MixedModel:
    """Fit y = Xβ + Σ_k Z_k b_k + e by restricted maximum likelihood, and test β as a small sample needs.

    Each grouping gives every one of its labels a random intercept b ~ N(0, s_k); variances are zero or more.
    Rows are matched by position, never by index. Work and memory grow with the square to the cube of the
    rows that a chain of shared labels connects: a few dozen a rider, or all rows where groupings cross.

    Parameters
    ----------
    y : array (rows,)
    X : DataFrame (rows, terms)
        Fixed-effect columns, numbers or booleans, the intercept among them where one is wanted.
    groups : mapping of name to labels (rows,)
        For a ring study {"rider": ..., "rider:ring": ...}; independent units first, since their count is
        reported as n. Empty: least squares.
    df_method : {"kenward-roger", "satterthwaite"}
    residual_groups : array (rows,), optional
        Labels of rows whose residual variance may differ.
    slopes : mapping of grouping to numbers (rows,), optional
        What the effect of a label is also proportional to: {"rider": intensity_W} lets riders differ in how
        steeply they rise.
    slopes_correlate : bool
        Whether a label's slope may go with its intercept.

    Raises
    ------
    Refusal
        Lengths that differ; values that are missing or not finite; columns that are not numbers, repeat a
        name or follow from the others; no more rows than columns; a grouping with one label, or one whose
        variance cannot be told from the fixed effects, another grouping or the residual; a y that X explains
        exactly, or that does not vary inside the smallest groups; an unknown df method; a slope of a grouping
        that is not there, or whose correlation with the intercept runs to ±1.

    Notes
    -----
    Where trials of one rider differ more than trials of different riders, the rider variance is estimated
    as zero and tests are no longer those of the within-rider differences. `note` then says so.

    References
    ----------
    Kenward & Roger 1997, Biometrics 53:983. Satterthwaite as in Kuznetsova, Brockhoff & Christensen 2017,
    J Stat Softw 82(13).

    Examples
    --------
    Complete pairs with differences 1, 2, 3: mean 2, standard error 1/√3, 2 df, as a paired t test by hand.

    >>> y = [10.0, 11.0, 20.0, 22.0, 30.0, 33.0]
    >>> X = pd.DataFrame({"intercept": 1.0, "oval": [0.0, 1.0] * 3})
    >>> model = fit_mixed_model(y, X, {"rider": ["a", "a", "b", "b", "c", "c"]})
    >>> oval = model.contrast({"oval": 1.0})
    >>> round(oval.value, 6), round(oval.se, 6), round(oval.df, 6)
    (2.0, 0.57735, 2.0)
    """
    if df_method not in DF_METHODS:
        raise Refusal(
            "df_method", f"{df_method!r}", " or ".join(map(repr, DF_METHODS)), "choose one of the two"
        )
    data = read_mixed_data(y, X, groups, residual_groups, slopes or {}, slopes_correlate)
    # An orthonormal basis of X and the residual of y on it leave the likelihood as it is, and make its sums
    # well conditioned whatever the units.
    basis, triangle = np.linalg.qr(data.x)
    start = basis.T @ data.y
    rest = data.y - basis @ start
    _check_something_left(rest, data.y)
    n_free = len(data.y) - len(data.terms)
    unit = float(np.linalg.norm(rest) / n_free**0.5)
    point = _find_variances(data, rest / unit, basis)
    point = replace(point, coefficients=point.coefficients + start / unit)
    loglik = point.loglik - n_free * np.log(unit) - np.log(np.abs(np.diagonal(triangle))).sum()
    label, make_tests = DF_METHODS[df_method]
    variances = unit**2 * data.to_stated @ point.variances
    return MixedModel(
        terms=data.terms,
        variance_components=dict(zip(data.components, variances.tolist(), strict=True)),
        loglik=float(loglik),
        singular=bool((point.variances == 0).any()),
        note=_explain_zeros(point.variances, data.components, df_method),
        n=int(data.random_terms[0].codes.max()) + 1 if data.random_terms else len(data.y),
        n_rows=len(data.y),
        df_method=df_method,
        method=f"{_name_model(data)}, {label} df",
        _tests=make_tests(point),
        _to_basis=unit * np.linalg.inv(triangle).T,
    )


def _check_something_left(rest: Array, y: Array) -> None:
    if np.linalg.norm(rest) <= 1e-11 * np.linalg.norm(y):
        raise Refusal(
            "y of a mixed model",
            "values that the columns of X explain exactly",
            "values that vary around the fixed effects",
            "look for an outcome among the columns of X; values that do not vary need no model",
        )


def _find_variances(data: MixedData, rest: Array, basis: Array) -> LikelihoodPoint:
    """Lay the rows out, refuse variances that cannot be told apart, and climb to the likeliest ones."""
    blocks = gather_blocks(rest, basis, data.random_terms, data.residual_codes)
    at_identity = np.repeat([0.0, 1.0], [len(data.random_terms), blocks.n_residual])
    whole = 0.5 * np.einsum("ibmn,ibmn->i", blocks.parts, blocks.parts)
    check_components_differ(evaluate_likelihood(blocks, at_identity).expected, whole, data)
    try:
        return maximise_likelihood(blocks)
    except Refusal as refusal:
        refusal.remedy += _repeated_values(data)
        raise


def _repeated_values(data: MixedData) -> str:
    """Hint at copies where every value occurs again among the rows that share all labels, and only there."""
    labels = {str(place): term.codes for place, term in enumerate(data.random_terms)}
    cells = pd.DataFrame({**labels, "y": data.y})
    repeated = bool(labels) and cells.duplicated(keep=False).all()
    return ", or look for values that were copied: each stands twice or more in its group" if repeated else ""


def _name_model(data: MixedData) -> str:
    groupings = " and ".join(data.groupings)
    name = f"mixed model, random intercepts for {groupings}" if groupings else "linear model"
    if data.slopes:
        correlated = "correlated " if any(term.is_covariance for term in data.random_terms) else ""
        name += f" and {correlated}random slopes for {' and '.join(data.slopes)}"
    name += ", REML"
    n_residual = len(data.components) - len(data.random_terms)
    return f"{name}, {n_residual} residual variances" if n_residual > 1 else name


def _explain_zeros(variances: Array, names: tuple[str, ...], df_method: DfMethod) -> str:
    zero = [name for name, variance in zip(names, variances, strict=True) if variance == 0]
    if not zero:
        return ""
    tests = (
        "Kenward-Roger tests still allow for not knowing that it is zero"
        if df_method == "kenward-roger"
        else "Satterthwaite tests are those of a model without it"
    )
    note = f"The variance of {' and '.join(zero)} was estimated as zero; {tests}."
    if any(name.startswith("residual") for name in zero):
        note += (
            " Where a residual is zero the data do not tell it from what differs between groups, so all of the spread there"
            " counts as theirs."
        )
    if names[0] in zero:
        note += (
            f" Rows of one {names[0]} are no more alike than rows of different ones, so these are not the"
            f" tests of differences within {names[0]}; read those beside them."
        )
    return note
