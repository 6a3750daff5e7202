"""Means over a series of turns, with standard errors that respect that turns resemble their neighbours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.signals.torque_profile import wrap_deg
from analysis_lib.statistics.serial import FEWEST, means_with_se

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


@dataclass(frozen=True)
class LinearMean:
    """A mean over turns whose standard error is not worked out yet.

    Attributes
    ----------
    value : float
    series : array of shape (turns,)
        What each turn contributes, linearised: its mean has the standard error of the value.
    method : str
    has_error : bool
        False for a value that nothing can be said of, such as the direction of turns that cancel.
    """

    value: float
    series: FloatArray
    method: str
    has_error: bool = True


def turn_means(parts: Sequence[LinearMean]) -> list[TurnMean]:
    """Work out the standard errors of means over the same turns, all at once."""
    if not parts:
        return []
    turns = parts[0].series.size
    errors, effective, remark = standard_errors(np.stack([part.series for part in parts]))
    return [
        TurnMean(part.value, se, turns, many, part.method + remark)
        if part.has_error
        else TurnMean(part.value, math.nan, turns, math.nan, part.method)
        for part, se, many in zip(parts, errors, effective, strict=True)
    ]


def linear_mean(series: FloatArray) -> LinearMean:
    """Take the mean of a quantity that is one number a turn."""
    return LinearMean(float(np.mean(series)), series, "mean over turns")


def linear_ratio(numerator: FloatArray, denominator: FloatArray) -> LinearMean:
    """Take Σ numerator / Σ denominator, as work over time is power.

    The mean of the turns' own ratios would weigh short turns too much. Linearised, turn i contributes
    R + (aᵢ − R·bᵢ)/b̄.

    Examples
    --------
    300 J in 1 s, then 100 J in 3 s: 400 J in 4 s.

    >>> linear_ratio(np.array([300.0, 100.0]), np.array([1.0, 3.0])).value
    100.0
    """
    ratio = float(np.sum(numerator) / np.sum(denominator))
    linearised = ratio + (numerator - ratio * denominator) / np.mean(denominator)
    return LinearMean(ratio, linearised, "ratio of sums over turns, linearised")


def linear_direction(vectors: ComplexArray, order: int) -> LinearMean:
    """Take the angle of Σ vectors, divided by `order`: degrees in [0, 360/order).

    `order` 1 serves circular angles, 2 axes, k the peaks of the k-th harmonic. The angle of the sum is that
    of the mean profile's harmonic. Linearised, turn i contributes Im(zᵢ·ū)/(k·|z̄|) with ū the conjugate of
    the mean's direction.
    """
    mean = complex(np.mean(vectors))
    value = float(wrap_deg(np.degrees(np.angle(mean)) / order, 360 / order))
    if mean == 0:
        return LinearMean(value, np.zeros(vectors.size), "no direction: the turns cancel", False)
    across = np.imag(vectors * np.conj(mean)) / abs(mean) ** 2
    linearised = value + np.degrees(across) / order
    return LinearMean(value, linearised, "direction of the vector mean over turns, linearised")


def linear_amplitude(vectors: ComplexArray) -> LinearMean:
    """Take the length of the mean vector: the amplitude in the mean profile, not inflated by noise."""
    mean = complex(np.mean(vectors))
    if mean == 0:
        return LinearMean(0.0, np.zeros(vectors.size), "the turns cancel", False)
    along = np.real(vectors * np.conj(mean)) / abs(mean)
    return LinearMean(abs(mean), along, "length of the vector mean over turns, linearised")


def standard_errors(rows: FloatArray) -> tuple[list[float], list[float], str]:
    """Return standard error of the mean and effective number of turns of each series, and a remark on all.

    Parameters
    ----------
    rows : array of shape (series, turns)
    """
    count, turns = rows.shape
    if turns < 2:
        return [math.nan] * count, [math.nan] * count, "; one turn has no standard error"
    if turns < FEWEST:
        remark = f"; fewer than {FEWEST} turns, taken as independent of one another"
        errors = np.std(rows, axis=1, ddof=1) / math.sqrt(turns)
        return errors.tolist(), [float(turns)] * count, remark
    found = means_with_se(rows)
    return [part.se for part in found], [part.n_effective for part in found], ""
