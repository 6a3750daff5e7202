"""How sure is a standard error that rests on estimated variances? Kenward-Roger and Satterthwaite."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.restricted_likelihood import LikelihoodPoint

Array = NDArray[np.floating]
DfMethod = Literal["kenward-roger", "satterthwaite"]


@dataclass(frozen=True)
class FTest:
    """F statistic of several contrasts at once, with its degrees of freedom and p."""

    f: float
    df_between: int
    df_within: float
    method: str

    @property
    def p(self) -> float:
        """Probability of a larger F when all contrasts are zero."""
        return float(scipy.stats.f.sf(self.f, self.df_between, self.df_within))


@dataclass(frozen=True)
class SmallSampleTests:
    """Tests of contrasts of the fixed effects that allow for the variances being estimates.

    Attributes
    ----------
    df_method : {"kenward-roger", "satterthwaite"}
    coefficients, covariance : array (columns,), (columns, columns)
        Covariance as tests use it: adjusted (Kenward-Roger) or C = (X'V⁻¹X)⁻¹ itself (Satterthwaite).
    model_covariance : array (columns, columns)
        C.
    slopes : array (components, columns, columns)
        dC/ds_i.
    spread : array (components, components)
        Covariance of the variance estimates.
    """

    df_method: DfMethod
    coefficients: Array
    covariance: Array
    model_covariance: Array
    slopes: Array
    spread: Array

    def contrast(self, weights: Array) -> tuple[float, float, float]:
        """Value, standard error and degrees of freedom of one weighted sum of coefficients.

        df = 2 v² / (g' W g), v = l'Cl, g_i = l'(dC/ds_i)l, W the covariance of the variances. Both methods
        share it: for one contrast, formula and scale 1 of Kenward & Roger (1997) reduce to this.
        """
        slopes = np.einsum("p,ipq,q->i", weights, self.slopes, weights)
        variance = weights @ self.model_covariance @ weights
        df = 2 * variance**2 / (slopes @ self.spread @ slopes)
        return (
            float(weights @ self.coefficients),
            float((weights @ self.covariance @ weights) ** 0.5),
            float(df),
        )

    def f_test(self, contrasts: Array) -> FTest:
        """F of all rows of `contrasts` (rows, columns) being zero; the rows must not repeat each other.

        With very few riders Kenward and Roger's denominator df can come out below zero; that is refused.
        """
        if len(contrasts) == 1:
            value, se, df = self.contrast(contrasts[0])
            return FTest((value / se) ** 2, 1, df, self.df_method)
        values = contrasts @ self.coefficients
        wald = values @ np.linalg.solve(contrasts @ self.covariance @ contrasts.T, values) / len(contrasts)
        scale, df = self._scale_and_df(contrasts)
        if not (scale > 0 and df > 0):
            raise Refusal(
                f"F test of {len(contrasts)} contrasts",
                f"{df:.3g} denominator degrees of freedom",
                "more than zero",
                "test the contrasts one at a time, or add riders",
            )
        return FTest(float(scale * wald), len(contrasts), float(df), self.df_method)

    def _scale_and_df(self, contrasts: Array) -> tuple[float, float]:
        if self.df_method == "satterthwaite":
            return 1.0, self._satterthwaite_df(contrasts)
        middle = contrasts.T @ np.linalg.solve(contrasts @ self.model_covariance @ contrasts.T, contrasts)
        return kenward_roger_scale(middle @ self.slopes, self.spread, len(contrasts))

    def _satterthwaite_df(self, contrasts: Array) -> float:
        """Match the mean of F to that of a sum of independent t² (Fai & Cornelius 1996).

        Each t_i, along an axis of LCL', has ν_i df and mean square ν_i/(ν_i − 2), which is infinite for
        ν_i ≤ 2 and then leaves 2 df.
        """
        axes = np.linalg.eigh(contrasts @ self.covariance @ contrasts.T)[1]
        df = np.array([self.contrast(row)[2] for row in axes.T @ contrasts])
        if np.ptp(df) < 1e-8 * df.max():
            return float(df.mean())
        if (df <= 2).any():
            return 2.0
        expected = (df / (df - 2)).sum()
        return float(2 * expected / (expected - len(df)))


def kenward_roger_scale(weighted_slopes: Array, spread: Array, rank: int) -> tuple[float, float]:
    """Scale and denominator df of an F with several contrasts (Kenward & Roger 1997, Biometrics 53:983).

    Parameters
    ----------
    weighted_slopes : array (components, columns, columns)
        Θ dC/ds_i, with Θ = L'(LCL')⁻¹L.
    spread : array (components, components)
        Inverse expected information of the variances.
    rank : int
        Number of contrasts.
    """
    traces = np.einsum("ipp->i", weighted_slopes)
    a1 = traces @ spread @ traces
    a2 = (spread * np.einsum("ipq,jqp->ij", weighted_slopes, weighted_slopes)).sum()
    b = (a1 + 6 * a2) / (2 * rank)
    g = ((rank + 1) * a1 - (rank + 4) * a2) / ((rank + 2) * a2)
    below = 3 * rank + 2 * (1 - g)
    c1, c2, c3 = g / below, (rank - g) / below, (rank + 2 - g) / below
    inverse_mean, other = 1 - a2 / rank, 1 - c2 * b
    # At df = 2 both are 0, their ratio goes to 1, and the scale below is 0/0 too.
    shrink = 1.0 if max(abs(inverse_mean), abs(other)) < 1e-6 else inverse_mean / other
    ratio = shrink**2 * (1 + c1 * b) / (1 - c3 * b)  # rank · V* / 2E*²
    df = 4 + (rank + 2) / (ratio - 1)
    return (1.0 if abs(df - 2) < 0.01 else df * inverse_mean / (df - 2)), df


def kenward_roger(point: LikelihoodPoint) -> SmallSampleTests:
    """Adjust C for the estimated variances; every component counts, also one whose estimate is zero.

    C_A = C + 2 C {Σ_ij W_ij (Q_ij − P_i C P_j)} C, W = E⁻¹, P_i = X'V⁻¹G_iV⁻¹X, Q_ij = X'V⁻¹G_iV⁻¹G_jV⁻¹X.
    """
    spread = np.linalg.inv(point.expected)
    c, first = point.covariance, point.first
    between = first @ c @ np.tensordot(spread, first, axes=1)
    correction = np.einsum("ij,ijpq->pq", spread, point.second) - between.sum(axis=0)
    return SmallSampleTests(
        df_method="kenward-roger",
        coefficients=point.coefficients,
        covariance=c + 2 * c @ correction @ c,
        model_covariance=c,
        slopes=c @ first @ c,
        spread=spread,
    )


def satterthwaite(point: LikelihoodPoint) -> SmallSampleTests:
    """Leave C as it is, and match its spread; a component whose estimate is zero is taken for known.

    W is the inverse of the observed information (Kuznetsova, Brockhoff & Christensen
    2017, J Stat Softw 82(13)), as for differences of means with unequal variances (Welch).
    """
    found = point.variances != 0  # a covariance may be negative
    c = point.covariance
    return SmallSampleTests(
        df_method="satterthwaite",
        coefficients=point.coefficients,
        covariance=c,
        model_covariance=c,
        slopes=c @ point.first[found] @ c,
        spread=np.linalg.inv(point.observed[np.ix_(found, found)]),
    )
