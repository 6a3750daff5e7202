"""Does an angle go with a number, or with another angle?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import check_angles

MOST_PAIRS_EXACT = 7
RANDOM_ORDERS = 9999


@dataclass(frozen=True)
class CircularCorrelation:
    """A correlation with an angle: r, p, n, and in words how they were made."""

    r: float
    p: float
    n: int
    method: str


def angle_with_number(angles_deg: ArrayLike, x: ArrayLike, axial: bool = False) -> CircularCorrelation:
    """Correlate angles with numbers: how well cos θ and sin θ together predict x.

    r² = (r_xc² + r_xs² − 2 r_xc r_xs r_cs)/(1 − r_cs²), from the plain correlations of x, cos θ and sin θ;
    p from n r² as chi-squared with 2 degrees of freedom, which is rough for few pairs. r is 0 to 1, without
    sign.

    Raises
    ------
    Refusal
        Unequal lengths, fewer than four pairs, or angles or numbers that do not vary.

    References
    ----------
    Mardia 1976. Zar, Biostatistical Analysis, 5th ed., ch. 27, example 27.21.
    """
    theta = _radians(angles_deg, axial)
    numbers = np.asarray(x, dtype=float)
    _check_pairs(theta, numbers)
    if np.ptp(numbers) == 0 or abs(np.exp(1j * theta).mean()) > 1 - 1e-12:
        raise Refusal(
            "angles and numbers", "one of them constant", "both varying", "there is nothing to correlate"
        )
    xc, xs, cs = np.corrcoef([numbers, np.cos(theta), np.sin(theta)])[[0, 0, 1], [1, 2, 2]]
    r_squared = float((xc**2 + xs**2 - 2 * xc * xs * cs) / (1 - cs**2))
    p = float(scipy.stats.chi2.sf(len(theta) * r_squared, 2))
    return CircularCorrelation(
        math.sqrt(r_squared), p, len(theta), "circular-linear correlation, chi-squared on 2 df"
    )


def angle_with_angle(
    a_deg: ArrayLike, b_deg: ArrayLike, axial: bool = False, seed: int = 0
) -> CircularCorrelation:
    """Correlate two angles: do differences between riders in one go with differences in the other?

    r = Σ sin(a_i − a_j) sin(b_i − b_j)/sqrt(Σ sin²(a_i − a_j) Σ sin²(b_i − b_j)) over all pairs of riders,
    −1 to 1. p, two-sided, from reordering b against a: all orders for up to seven pairs, else 9999 random
    ones with (1 + orders that reach |r|)/(1 + 9999).

    Raises
    ------
    Refusal
        Unequal lengths, fewer than four pairs, or angles that do not vary.

    References
    ----------
    Fisher & Lee, Biometrika 1983;70:327. Zar, Biostatistical Analysis, 5th ed., ch. 27, example 27.20.
    """
    a, b = _radians(a_deg, axial), _radians(b_deg, axial)
    _check_pairs(a, b)
    first, second = (np.sin(angles[:, None] - angles) for angles in (a, b))
    size = math.sqrt(float((first**2).sum() * (second**2).sum()))
    if size < 1e-12:
        raise Refusal(
            "pairs of angles", "one of them constant", "both varying", "there is nothing to correlate"
        )
    n = len(a)
    if n <= MOST_PAIRS_EXACT:
        orders, how = np.array(list(permutations(range(n)))), f"all {math.factorial(n)} orders"
    else:
        rng = np.random.default_rng(seed)
        orders = np.vstack([np.arange(n), rng.permuted(np.tile(np.arange(n), (RANDOM_ORDERS, 1)), axis=1)])
        how = f"{RANDOM_ORDERS} random orders"
    # The first order is the observed one in both cases.
    r = np.array([(first * second[np.ix_(order, order)]).sum() for order in orders]) / size
    p = float(np.mean(np.abs(r) >= abs(r[0]) * (1 - 1e-9)))
    return CircularCorrelation(float(r[0]), p, n, f"circular-circular correlation, p from {how}")


def _radians(angles_deg: ArrayLike, axial: bool) -> NDArray[np.float64]:
    return np.radians(check_angles(angles_deg, 4) * (2 if axial else 1))


def _check_pairs(a: NDArray[np.float64], b: NDArray[np.float64]) -> None:
    if a.shape != b.shape or not np.isfinite(b).all():
        raise Refusal(
            "pairs", f"shapes {a.shape} and {b.shape}", "finite values, as many of each", "pair them up"
        )
