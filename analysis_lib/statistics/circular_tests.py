"""Do angles gather at all, and do groups of them gather around the same angle?

Every test takes `axial=True` for angles that live modulo 180°; they are doubled first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import check_angles
from analysis_lib.statistics.estimates import show_p


@dataclass(frozen=True)
class CircularTest:
    """A test statistic by name, its degrees of freedom where it has any, p, and doubts in words."""

    name: str
    symbol: str
    statistic: float
    df: tuple[float, ...]
    p: float
    n: int
    note: str = ""

    def sentence(self) -> str:
        """The test in one sentence."""
        degrees = f"({', '.join(f'{df:g}' for df in self.df)})" if self.df else ""
        note = f"; {self.note}" if self.note else ""
        result = f"{self.symbol}{degrees} = {self.statistic:.4g}, {show_p(self.p)}"
        return f"{self.name}: {result} (n = {self.n}{note})"


def rayleigh_test(angles_deg: ArrayLike, axial: bool = False) -> CircularTest:
    """Test whether angles gather around any one direction, against a uniform circle.

    z = n r²; p = exp(sqrt(1 + 4n + 4(n² − R²)) − (1 + 2n)) with R = n r. Against simulation this p is right
    to three decimals and a little too large below 0.01, never too small there.

    References
    ----------
    Zar, Biostatistical Analysis, 5th ed., ch. 27, example 27.1.

    Examples
    --------
    Four equal angles: z = 4, p = exp(sqrt(17) − 9) = 0.0076:

    >>> round(rayleigh_test([10, 10, 10, 10]).p, 4)
    0.0076
    """
    theta = _radians(angles_deg, axial, 2)
    n, resultant = len(theta), abs(np.exp(1j * theta).sum())
    p = _rayleigh_p(n, resultant)
    return CircularTest("Rayleigh test of no common direction", "z", float(resultant**2 / n), (), p, n)


def v_test(angles_deg: ArrayLike, expected_deg: float, axial: bool = False) -> CircularTest:
    """Test whether angles gather around a direction named beforehand, against a uniform circle.

    V = Σ cos(θ − expected), u = V sqrt(2/n); one-sided p from the normal distribution with the series of
    Greenwood and Durand in 1/n. Where a few angles all but coincide that series falls to 0 and below; p is then
    half of Rayleigh's for a resultant as long as V, which the true one cannot exceed.

    References
    ----------
    Zar, Biostatistical Analysis, 5th ed., ch. 27, example 27.2. Greenwood & Durand, Ann Math Stat
    1955;26:233.
    """
    theta = _radians(angles_deg, axial, 2)
    n = len(theta)
    expected = float(_radians([expected_deg], axial, 1)[0])
    u = float(np.cos(theta - expected).sum()) * math.sqrt(2 / n)
    first = (3 * u - u**3) / (16 * n)
    second = (15 * u + 305 * u**3 - 125 * u**5 + 9 * u**7) / (4608 * n**2)
    p = float(scipy.stats.norm.sf(u) + scipy.stats.norm.pdf(u) * (first + second))
    if p <= 0:
        p = 0.5 * _rayleigh_p(n, u * math.sqrt(n / 2))
    return CircularTest(f"V test for {expected_deg:g}°", "u", u, (), min(p, 1.0), n)


def watson_williams_test(samples_deg: Sequence[ArrayLike], axial: bool = False) -> CircularTest:
    """Test whether two or more independent groups of angles have the same mean direction.

    F = K (N − k)(Σ R_j − R)/((k − 1)(N − Σ R_j)), K = 1 + 3/(8 κ), κ the von Mises concentration whose mean
    resultant length is Σ R_j/N. For angles of the same riders use `paired_test`.

    Returns
    -------
    CircularTest
        With a note when Σ R_j/N is below 0.75, where the F distribution is no longer a good one.

    References
    ----------
    Watson & Williams, Biometrika 1956;43:344. Zar, Biostatistical Analysis, 5th ed., ch. 27, examples 27.7
    and 27.8.
    """
    groups = [_radians(sample, axial, 2) for sample in samples_deg]
    if len(groups) < 2:
        raise Refusal("samples of angles", f"{len(groups)}", "two or more", "give each group as its own list")
    total = sum(len(group) for group in groups)
    own = sum(abs(np.exp(1j * group).sum()) for group in groups)
    joint = abs(np.exp(1j * np.concatenate(groups)).sum())
    inside = (total - own) / (total - len(groups))
    if inside < 1e-12:
        raise Refusal(
            "samples of angles",
            "equal angles within every group",
            "angles that vary",
            "look for copied values",
        )
    factor = 1 + 3 / (8 * _concentration(own / total))
    df = (len(groups) - 1, total - len(groups))
    f = float(factor * (own - joint) / df[0] / inside)
    note = "" if own / total >= 0.75 else "angles too scattered for this test to be relied on"
    p = float(scipy.stats.f.sf(f, *df))
    return CircularTest("Watson-Williams test of equal mean directions", "F", f, df, p, total, note)


def paired_test(a_deg: ArrayLike, b_deg: ArrayLike, axial: bool = False) -> CircularTest:
    """Test whether the same riders' angles differ between two conditions.

    Hotelling's test that the mean of the differences of the unit vectors (cos b − cos a, sin b − sin a) is
    zero. How large the difference is, `circular_mean` or `axial_mean` of b − a says, with its interval.

    References
    ----------
    Zar, Biostatistical Analysis, 5th ed., ch. 27 (Hotelling's test of paired angles).
    """
    a, b = _radians(a_deg, axial, 3), _radians(b_deg, axial, 3)
    if len(a) != len(b):
        raise Refusal("paired angles", f"{len(a)} and {len(b)}", "as many of each", "give a pair a rider")
    steps = np.column_stack([np.cos(b) - np.cos(a), np.sin(b) - np.sin(a)])
    return _hotelling(steps, "Hotelling test of paired angles")


def second_order_test(
    angles_deg: ArrayLike, resultant_lengths: ArrayLike, axial: bool = False
) -> CircularTest:
    """Test whether riders' mean angles, each with its own resultant length, have a common direction.

    Hotelling's test that the mean of the vectors (r cos θ, r sin θ) is zero:
    F = (n − 2)/(2 (n − 1)) · n m' S⁻¹ m on 2 and n − 2 degrees of freedom.

    References
    ----------
    Zar, Biostatistical Analysis, 5th ed., examples 26.8 and 27.14.
    """
    return _hotelling(
        _mean_vectors(angles_deg, resultant_lengths, axial), "Hotelling test of no common direction"
    )


def second_order_mean(
    angles_deg: ArrayLike, resultant_lengths: ArrayLike, axial: bool = False
) -> tuple[float, float]:
    """Mean angle (degrees) and resultant length of riders' means, weighted by their own resultant lengths.

    References
    ----------
    Zar, Biostatistical Analysis, 5th ed., ch. 26, example 26.8.
    """
    x, y = _mean_vectors(angles_deg, resultant_lengths, axial).mean(axis=0)
    turn = 180 if axial else 360
    return math.degrees(math.atan2(y, x)) * turn / 360 % turn, math.hypot(x, y)


def _rayleigh_p(n: int, resultant: float) -> float:
    return min(math.exp(math.sqrt(1 + 4 * n + 4 * (n**2 - resultant**2)) - (1 + 2 * n)), 1.0)


def _radians(angles_deg: ArrayLike, axial: bool, fewest: int) -> NDArray[np.float64]:
    return np.radians(check_angles(angles_deg, fewest) * (2 if axial else 1))


def _mean_vectors(angles_deg: ArrayLike, resultant_lengths: ArrayLike, axial: bool) -> NDArray[np.float64]:
    theta = _radians(angles_deg, axial, 3)
    lengths = np.asarray(resultant_lengths, dtype=float)
    if lengths.shape != theta.shape or not ((lengths >= 0) & (lengths <= 1)).all():
        raise Refusal(
            "resultant lengths",
            f"{lengths.tolist()}",
            "one number from 0 to 1 an angle",
            "take them from the same means as the angles",
        )
    return np.column_stack([lengths * np.cos(theta), lengths * np.sin(theta)])


def _hotelling(vectors: NDArray[np.float64], name: str) -> CircularTest:
    n, mean = len(vectors), vectors.mean(axis=0)
    covariance = np.cov(vectors, rowvar=False)
    if np.linalg.matrix_rank(covariance) < 2:
        raise Refusal(
            name, "vectors that do not vary in two directions", "angles that vary", "look for copies"
        )
    f = float((n - 2) / (2 * (n - 1)) * n * mean @ np.linalg.solve(covariance, mean))
    return CircularTest(name, "F", f, (2, n - 2), float(scipy.stats.f.sf(f, 2, n - 2)), n)


def _concentration(length: float) -> float:
    """The κ whose von Mises distribution has this mean resultant length I₁(κ)/I₀(κ)."""
    if length > 1 - 1e-6:
        return 1 / (2 * (1 - length))
    return float(
        scipy.optimize.brentq(
            lambda kappa: scipy.special.i1e(kappa) / scipy.special.i0e(kappa) - length, 1e-9, 1e6, xtol=1e-10
        )
    )
