"""What does a fitted mixed model say: its effects, its variances, and tests of any contrast?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.denominator_df import DfMethod, FTest, SmallSampleTests
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.mixed_data import COVARIANCE

Array = NDArray[np.floating]


@dataclass(frozen=True)
class MixedModel:
    """Fixed effects, variances and tests of a fitted linear mixed model.

    Attributes
    ----------
    terms : tuple of str
        Names of the fixed-effect columns.
    variance_components : dict of str to float
        Variance of each grouping and of the residual ("residual", or "residual: label" where residual
        variances differ), in the square of the unit of y; with slopes also "NAME slope" and "NAME
        covariance", per unit of what the slope is counted by.
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
        parts = [
            f"{name} {variance:.3g}" if name.endswith(COVARIANCE) else f"{name} SD {variance**0.5:.3g}"
            for name, variance in self.variance_components.items()
        ]
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
