"""Least squares for calibrations: a few terms, their standard errors and what is left over."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate

FloatArray = NDArray[np.float64]
COLLINEAR = 1e-10  # singular value, relative, below which two terms tell the same


@dataclass(frozen=True)
class LinearFit:
    """A fit y = Σ coefficient · term.

    Attributes
    ----------
    terms : tuple of str
    coefficients : array of shape (terms,)
    covariance : array of shape (terms, terms)
        s²(X'X)⁻¹.
    residuals : array of shape (readings,)
    df : int
        Readings less terms.
    """

    terms: tuple[str, ...]
    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    df: int

    @property
    def residual_sd(self) -> float:
        """Standard deviation about the fit."""
        return math.sqrt(float(self.residuals @ self.residuals) / self.df)

    def estimate(self, term: str, quantity: str, unit: str) -> Estimate:
        """Return one coefficient with its standard error."""
        at = self.terms.index(term)
        return Estimate(
            quantity=quantity,
            value=float(self.coefficients[at]),
            se=math.sqrt(float(self.covariance[at, at])),
            df=float(self.df),
            unit=unit,
            n=self.residuals.size,
            method="ordinary least squares",
        )


def fit_linear(terms: dict[str, FloatArray], readings: FloatArray, what: str) -> LinearFit:
    """Fit readings by ordinary least squares.

    Parameters
    ----------
    terms : dict of str to array of shape (readings,)
        Columns of the design.
    readings : array of shape (readings,)
        What was read.
    what : str
        For messages.

    Raises
    ------
    Refusal
        No degree of freedom left, or terms that cannot be told apart.
    """
    design = np.column_stack(list(terms.values()))
    df = readings.size - design.shape[1]
    scaled = design / np.linalg.norm(design, axis=0)
    singular = np.linalg.svd(scaled, compute_uv=False)
    if df < 1 or singular[-1] < COLLINEAR * singular[0]:
        raise Refusal(
            what=what,
            got=f"{readings.size} readings for {design.shape[1]} terms ({', '.join(terms)})"
            + ("" if df < 1 else " that rise and fall together"),
            wanted="more readings than terms, and terms that vary apart",
            remedy="add readings, warm and cold, early and late",
        )
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ (design.T @ readings)
    residuals = readings - design @ coefficients
    variance = float(residuals @ residuals) / df
    return LinearFit(tuple(terms), coefficients, variance * inverse, residuals, df)
