"""Means over a series of turns, with standard errors that respect that turns resemble their neighbours."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.signals.torque_profile import wrap_deg
from analysis_lib.statistics.serial import FEWEST, mean_with_se

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class TurnMean:
    """A mean over turns.

    Attributes
    ----------
    value, se : float
        Mean and its standard error, in the quantity's unit; the standard error is NaN for one turn alone.
    n_turns : int
        Turns in the series.
    n_effective : float
        How many independent turns would give the same standard error; NaN where that is not known.
    method : str
        How it was made.
    """

    value: float
    se: float
    n_turns: int
    n_effective: float
    method: str


def mean_over_turns(series: FloatArray) -> TurnMean:
    """Return the mean of a quantity that is one number a turn."""
    return _with_standard_error(float(np.mean(series)), series, "mean over turns")


def ratio_over_turns(numerator: FloatArray, denominator: FloatArray) -> TurnMean:
    """Return Σ numerator / Σ denominator, as work over time is power.

    The mean of the turns' own ratios would weigh short turns too much. Linearised, turn i contributes
    R + (aᵢ − R·bᵢ)/b̄.

    Examples
    --------
    300 J in 1 s, then 100 J in 3 s: 400 J in 4 s.

    >>> ratio_over_turns(np.array([300.0, 100.0]), np.array([1.0, 3.0])).value
    100.0
    """
    ratio = float(np.sum(numerator) / np.sum(denominator))
    linearised = ratio + (numerator - ratio * denominator) / np.mean(denominator)
    return _with_standard_error(ratio, linearised, "ratio of sums over turns, linearised")


def direction_over_turns(vectors: ComplexArray, order: int) -> TurnMean:
    """Return the angle of Σ vectors, divided by `order`: degrees in [0, 360/order).

    `order` 1 serves circular angles, 2 axes, k the peaks of the k-th harmonic. The angle of the sum is that
    of the mean profile's harmonic. Linearised, turn i contributes Im(zᵢ·ū)/(k·|z̄|) with ū the conjugate of
    the mean's direction.
    """
    mean = complex(np.mean(vectors))
    value = float(wrap_deg(np.degrees(np.angle(mean)) / order, 360 / order))
    if mean == 0:
        return TurnMean(value, math.nan, vectors.size, math.nan, "no direction: the turns cancel")
    across = np.imag(vectors * np.conj(mean)) / abs(mean) ** 2
    linearised = value + np.degrees(across) / order
    return _with_standard_error(value, linearised, "direction of the vector mean over turns, linearised")


def amplitude_over_turns(vectors: ComplexArray) -> TurnMean:
    """Return the length of the mean vector: the amplitude in the mean profile, not inflated by noise."""
    mean = complex(np.mean(vectors))
    if mean == 0:
        return TurnMean(0.0, math.nan, vectors.size, math.nan, "the turns cancel")
    along = np.real(vectors * np.conj(mean)) / abs(mean)
    return _with_standard_error(abs(mean), along, "length of the vector mean over turns, linearised")


def standard_error(series: FloatArray) -> tuple[float, float, str]:
    """Return a series' standard error of the mean, its effective number of turns, and a remark on both."""
    if series.size < 2:
        return math.nan, math.nan, "; one turn has no standard error"
    if series.size < FEWEST:
        remark = f"; fewer than {FEWEST} turns, taken as independent of one another"
        return float(np.std(series, ddof=1)) / math.sqrt(series.size), float(series.size), remark
    found = mean_with_se(series)
    return found.se, found.n_effective, ""


def _with_standard_error(value: float, linearised: FloatArray, method: str) -> TurnMean:
    se, n_effective, remark = standard_error(linearised)
    return TurnMean(value, se, linearised.size, n_effective, method + remark)
