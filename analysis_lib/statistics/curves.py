"""Where around the crank circle do two curves differ, looked at as whole curves?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import check_level, show_level, show_p

MOST_RIDERS_EXACT = 14
RANDOM_FLIPS = 9999
ROWS_AT_ONCE = 1024
# Sign patterns that give the same statistic in exact arithmetic must count as ties.
TIE = 1e-9


@dataclass(frozen=True, eq=False)
class PairedCurves:
    """Mean difference curve with a band that holds for all angles at once.

    Parameters
    ----------
    mean, se, low, high, t : ndarray, shape (angles,)
        Mean difference, its standard error, the simultaneous band and the t curve.
    critical_t : float
        Half-width of the band in standard errors.
    p : float
        Family-wise, for the whole curve: share of sign patterns whose largest |t| reaches the one observed.
    flips : int
        Sign patterns that p rests on.
    level : float
        Simultaneous confidence level.
    n, df : int
        Riders, and n − 1.
    method : str
        In words, with the smallest p that this many riders can give.
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    t: NDArray[np.float64]
    critical_t: float
    p: float
    flips: int
    level: float
    n: int
    df: int
    method: str

    def excludes_zero(self) -> list[tuple[int, int]]:
        """Runs of angles whose band excludes zero, as (first index, last index).

        The last angle and the first are neighbours: a run over the end has its first index after its last.
        """
        return find_runs(np.abs(self.t) > self.critical_t * (1 + TIE))

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: angle_deg (equally spaced from 0), mean, se, low, high, t."""
        angles = np.arange(len(self.mean)) * 360 / len(self.mean)
        return pd.DataFrame(
            {
                "angle_deg": angles,
                "mean": self.mean,
                "se": self.se,
                "low": self.low,
                "high": self.high,
                "t": self.t,
            }
        )

    def sentence(self) -> str:
        """Say where the band excludes zero, in degrees."""
        step = 360 / len(self.mean)
        runs = [f"{first * step:.0f}° to {last * step:.0f}°" for first, last in self.excludes_zero()]
        where = f"excludes zero from {', '.join(runs)}" if runs else "includes zero at every angle"
        return (
            f"The {show_level(self.level)} simultaneous band {where} (largest |t| = "
            f"{np.abs(self.t).max():.3g}, {show_p(self.p)} for the whole curve; n = {self.n}; {self.method})"
        )


def paired_curves(differences: ArrayLike, level: float = 0.95, seed: int = 0) -> PairedCurves:
    """Compare two curves within riders by flipping the signs of whole difference curves.

    t = mean/(sd/√n) at every angle. If the ring does nothing, each rider's curve of differences could as well
    have come with the opposite sign; the largest |t| over all angles under every pattern of signs is what the
    observed one is held against, and its (1 − level) upper point is the critical t of the band
    mean ± critical_t · se. All 2ⁿ patterns are used for up to 14 riders; beyond that 9999 random ones, with
    p = (1 + patterns that reach the observed)/(1 + 9999). Nothing is assumed about smoothness or wrapping.

    Parameters
    ----------
    differences : array_like, shape (riders, angles)
        One curve a rider, oval − round, periods averaged within ring.
    level : float
        Simultaneous confidence level.
    seed : int
        For the random patterns; not used when all are.

    Returns
    -------
    PairedCurves

    Raises
    ------
    Refusal
        Fewer than two riders, values that are not finite, or an angle where riders do not differ.

    References
    ----------
    Nichols & Holmes, Hum Brain Mapp 2002;15:1. Pataky, Vanrenterghem & Robinson, J Biomech 2015;48:1277.

    Examples
    --------
    Two riders at one angle, differences 1 and 3: mean 2, se 1, t 2. Patterns ++ and −− give |t| 2, the other
    two ½, so p = 2/4.

    >>> result = paired_curves([[1.0], [3.0]])
    >>> result.t.tolist(), result.p
    ([2.0], 0.5)
    """
    check_level(level)
    curves = check_curves(differences)
    n = len(curves)
    mean = curves.mean(axis=0)
    se = curves.std(axis=0, ddof=1) / math.sqrt(n)
    exact = n <= MOST_RIDERS_EXACT
    patterns = _all_patterns(n) if exact else _random_patterns(n, seed)
    largest = _largest_t(curves, patterns)
    critical, p = _place(largest, level)
    # Half the patterns stand for all of them: turning every sign around gives the same |t|.
    flips = 2 * len(largest) if exact else len(largest) - 1
    floor = 2 / flips if exact else 1 / len(largest)
    method = (
        f"sign-flip max-t, {'all' if exact else 'random'} {flips} patterns, smallest possible p {floor:.2g}"
    )
    band = critical * se
    return PairedCurves(
        mean, se, mean - band, mean + band, mean / se, critical, p, flips, level, n, n - 1, method
    )


def find_runs(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Find runs of marked angles on a circle, as (first index, last index).

    Examples
    --------
    >>> find_runs(np.array([True, False, True, True]))
    [(2, 0)]
    """
    if marked.all():
        return [(0, len(marked) - 1)] if len(marked) else []
    firsts = np.flatnonzero(marked & ~np.roll(marked, 1))
    lasts = np.flatnonzero(marked & ~np.roll(marked, -1))
    # A run over the end has its last index first in order; put it beside its own first index.
    if len(lasts) and lasts[0] < firsts[0]:
        lasts = np.roll(lasts, -1)
    return [(int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]


def check_curves(differences: ArrayLike) -> NDArray[np.float64]:
    """Bring difference curves to an array of riders by angles; the refusals are those of `paired_curves`."""
    curves = np.asarray(differences, dtype=float)
    if curves.ndim != 2 or len(curves) < 2 or curves.shape[1] < 1:
        raise Refusal(
            "difference curves",
            f"an array of shape {curves.shape}",
            "one row a rider, at least two, and one column an angle",
            "stack the riders' curves",
        )
    if not np.isfinite(curves).all():
        rider, angle = np.argwhere(~np.isfinite(curves))[0]
        raise Refusal(
            f"difference curves, row {rider + 1}, column {angle + 1}",
            f"{curves[rider, angle]}",
            "finite values",
            "leave out the rider whose curve has gaps",
        )
    alike = np.ptp(curves, axis=0) <= 16 * np.finfo(float).eps * np.abs(curves).max(axis=0)
    if alike.any():
        raise Refusal(
            f"difference curves, column {int(np.flatnonzero(alike)[0]) + 1}",
            "the same difference for every rider",
            "differences that vary between riders at every angle",
            "look for copied curves, or leave that angle out",
        )
    return curves


def _all_patterns(n: int) -> Iterator[NDArray[np.float64]]:
    """All sign patterns that begin with +, the unflipped one first."""
    codes = np.arange(2 ** (n - 1))
    for start in range(0, len(codes), ROWS_AT_ONCE):
        bits = codes[start : start + ROWS_AT_ONCE, None] >> np.arange(n - 1) & 1
        yield np.column_stack([np.ones(len(bits)), 1 - 2 * bits])


def _random_patterns(n: int, seed: int) -> Iterator[NDArray[np.float64]]:
    """The unflipped pattern, then random ones."""
    rng = np.random.default_rng(seed)
    yield np.ones((1, n), dtype=np.float64)
    for start in range(0, RANDOM_FLIPS, ROWS_AT_ONCE):
        bits = rng.integers(0, 2, size=(min(ROWS_AT_ONCE, RANDOM_FLIPS - start), n))
        yield 1 - 2 * bits.astype(np.float64)


def _largest_t(curves: NDArray[np.float64], patterns: Iterator[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Largest |t| over angles for each pattern.

    Flipping leaves Σ d² alone, so t² = (n − 1) r²/(1 − r²) with r = Σ s d/sqrt(n Σ d²): one matrix product.
    """
    n = len(curves)
    scaled = curves / np.sqrt(n * (curves**2).sum(axis=0))
    r = np.concatenate([np.abs(signs @ scaled).max(axis=1) for signs in patterns])
    # A pattern that makes all riders alike at an angle has r = 1 and an infinite t.
    with np.errstate(divide="ignore"):
        return np.sqrt((n - 1) * r**2 / np.maximum(1 - r**2, 0.0))


def _place(largest: NDArray[np.float64], level: float) -> tuple[float, float]:
    """Critical value that at most 1 − level of the patterns exceed, and p of the first pattern."""
    count = len(largest)
    exceeding = math.floor((1 - level) * count + TIE)
    critical = float(np.sort(largest)[count - 1 - exceeding])
    return critical, float(np.mean(largest >= largest[0] * (1 - TIE)))
