"""How large are fixed effects when rows come in groups, such as trials of the same rider?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.denominator_df import (
    DfMethod,
    FTest,
    SmallSampleTests,
    kenward_roger,
    satterthwaite,
)
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.mixed_data import MixedData, check_components_differ, read_mixed_data
from analysis_lib.statistics.restricted_likelihood import (
    evaluate_likelihood,
    gather_blocks,
    maximise_likelihood,
)

Array = NDArray[np.floating]

DF_METHODS = {
    "kenward-roger": ("Kenward-Roger", kenward_roger),
    "satterthwaite": ("Satterthwaite", satterthwaite),
}


@dataclass(frozen=True)
class MixedModel:
    """Fixed effects, variances and tests of a fitted linear mixed model.

    Attributes
    ----------
    terms : tuple of str
        Names of the fixed-effect columns.
    variance_components : dict of str to float
        Variance of each grouping and of the residual ("residual", or "residual: label" where residual
        variances differ), in the square of the unit of y.
    loglik : float
        Restricted log-likelihood at its maximum.
    singular : bool
        Whether a grouping's variance was estimated as exactly zero.
    note : str
        What a zero variance means for the tests, in words; empty when there is none.
    n, n_rows : int
        Labels of the first grouping (rows, where there is no grouping), and rows.
    df_method : str
    method : str
        In words, what was done.
    """

    terms: tuple[str, ...]
    variance_components: dict[str, float]
    loglik: float
    singular: bool
    note: str
    n: int
    n_rows: int
    df_method: DfMethod
    method: str
    _tests: SmallSampleTests = field(repr=False)
    # The tests work on an orthonormal basis of X, in a unit of their own; weights l are this times l there.
    _to_basis: Array = field(repr=False)

    def to_frame(self) -> pd.DataFrame:
        """One row a fixed-effect column: term, estimate, se, df, t, p."""
        estimates = [self.contrast({term: 1.0}) for term in self.terms]
        columns = {name: [getattr(e, name) for e in estimates] for name in ("value", "se", "df", "t", "p")}
        return pd.DataFrame({"term": self.terms, **columns}).rename(columns={"value": "estimate"})

    def contrast(
        self, weights: Mapping[str, float] | Sequence[float] | Array, quantity: str = "", unit: str = ""
    ) -> Estimate:
        """Weighted sum of fixed effects, with its own standard error and degrees of freedom.

        Parameters
        ----------
        weights : mapping of term to weight (terms left out weigh 0), or one weight for every term in order
        quantity, unit : str
            Name and unit that the estimate carries; the name is the weighted terms unless given.

        Raises
        ------
        Refusal
            Unknown terms, a wrong number of weights, weights that are not finite or all zero.
        """
        vector = self._weights(weights)
        value, se, df = self._tests.contrast(self._to_basis @ vector)
        name = quantity or " ".join(f"{w:+g}·{t}" for w, t in zip(vector, self.terms, strict=True) if w)
        return Estimate(name, value, se, df, unit, self.n, self.method)

    def f_test(self, contrasts: Sequence[Mapping[str, float] | Sequence[float] | Array] | Array) -> FTest:
        """Test that several contrasts are all zero.

        Parameters
        ----------
        contrasts : sequence of weights, each as `contrast` takes them; or an array (contrasts, terms)

        Raises
        ------
        Refusal
            As `contrast`; and contrasts that repeat each other.
        """
        matrix = np.array([self._weights(row) for row in contrasts])
        if np.linalg.matrix_rank(matrix) < len(matrix):
            raise Refusal(
                "contrasts of an F test",
                f"{len(matrix)} rows that say {np.linalg.matrix_rank(matrix)} different things",
                "rows of which none follows from the others",
                "leave out the rows that follow",
            )
        return self._tests.f_test(matrix @ self._to_basis.T)

    def sentence(self) -> str:
        """What was fitted, the standard deviation of each random term, and what a zero means."""
        parts = [f"{name} SD {variance**0.5:.3g}" for name, variance in self.variance_components.items()]
        note = f" {self.note}" if self.note else ""
        return f"{self.method[0].upper()}{self.method[1:]}: {', '.join(parts)}.{note}"

    def _weights(self, weights: Mapping[str, float] | Sequence[float] | Array) -> Array:
        if isinstance(weights, Mapping):
            unknown = [term for term in weights if term not in self.terms]
            if unknown:
                raise Refusal(
                    "weights of a contrast",
                    f"term {unknown[0]!r}",
                    f"one of {', '.join(self.terms)}",
                    "use the column names of X",
                )
            weights = [weights.get(term, 0.0) for term in self.terms]
        vector = np.asarray(weights, dtype=float)
        if vector.shape != (len(self.terms),) or not np.isfinite(vector).all() or not vector.any():
            raise Refusal(
                "weights of a contrast",
                f"{vector.tolist()}",
                f"{len(self.terms)} finite weights, not all zero",
                f"give one weight each for {', '.join(self.terms)}",
            )
        return vector


def fit_mixed_model(
    y: ArrayLike,
    X: pd.DataFrame,
    groups: Mapping[str, Iterable],
    df_method: DfMethod = "kenward-roger",
    residual_groups: Iterable | None = None,
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

    Raises
    ------
    Refusal
        Lengths that differ; values that are missing or not finite; columns that are not numbers, repeat a
        name or follow from the others; no more rows than columns; a grouping with one label, or one whose
        variance cannot be told from the fixed effects, another grouping or the residual; a y that X explains
        exactly, or that does not vary inside the smallest groups; an unknown df method.

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
    data = read_mixed_data(y, X, groups, residual_groups)
    # An orthonormal basis of X and the residual of y on it leave the likelihood as it is, and make its sums
    # well conditioned whatever the units.
    basis, triangle = np.linalg.qr(data.x)
    start = basis.T @ data.y
    rest = data.y - basis @ start
    unit = float(np.linalg.norm(rest) / (len(data.y) - len(data.terms)) ** 0.5)
    if np.linalg.norm(rest) <= 1e-11 * np.linalg.norm(data.y):
        raise Refusal(
            "y of a mixed model",
            "values that the columns of X explain exactly",
            "values that vary around the fixed effects",
            "look for an outcome among the columns of X, or for values that were copied",
        )
    blocks = gather_blocks(rest / unit, basis, data.codes, data.residual_codes)
    at_identity = np.repeat([0.0, 1.0], [len(data.codes), blocks.n_residual])
    check_components_differ(evaluate_likelihood(blocks, at_identity).expected, data)
    point = maximise_likelihood(blocks)
    point = replace(point, coefficients=point.coefficients + start / unit)
    n_free = len(data.y) - len(data.terms)
    loglik = point.loglik - n_free * np.log(unit) - np.log(np.abs(np.diagonal(triangle))).sum()
    label, make_tests = DF_METHODS[df_method]
    return MixedModel(
        terms=data.terms,
        variance_components=dict(zip(data.components, (unit**2 * point.variances).tolist(), strict=True)),
        loglik=float(loglik),
        singular=bool((point.variances == 0).any()),
        note=_explain_zeros(point.variances, data.components, df_method),
        n=int(data.codes[0].max()) + 1 if data.codes else len(data.y),
        n_rows=len(data.y),
        df_method=df_method,
        method=f"{_name_model(data)}, {label} df",
        _tests=make_tests(point),
        _to_basis=unit * np.linalg.inv(triangle).T,
    )


def _name_model(data: MixedData) -> str:
    groupings = " and ".join(data.components[: len(data.codes)])
    name = f"mixed model, random intercepts for {groupings}, REML" if groupings else "linear model, REML"
    n_residual = len(data.components) - len(data.codes)
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
    if names[0] in zero:
        note += (
            f" Rows of one {names[0]} are no more alike than rows of different ones, so these are not the"
            f" tests of differences within {names[0]}; read those beside them."
        )
    return note
