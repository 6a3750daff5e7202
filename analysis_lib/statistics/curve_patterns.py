"""How large could the largest t of a curve have been, had the ring done nothing?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis_lib.statistics.random_blocks import ROWS_AT_ONCE, deal_at_random, random_blocks

Array = NDArray[np.float64]
Codes = NDArray[np.intp]

MOST_PATTERNS_EXACT = 16384
# Relabelling is exact but coarse: a test at 5 % wants a floor of 0.5 % or less, or looks at several intensities
# leave it no power. Signs have a finer floor, and reject 4.5 to 6.2 % of null studies of 3 + 3 to 5 + 5 riders.
FINE_ENOUGH = 10
# Patterns that give the same statistic in exact arithmetic must count as ties.
TIE = 1e-9


@dataclass(frozen=True, eq=False)
class NullDistribution:
    """Largest |t| over all angles under every pattern, the observed one first.

    Parameters
    ----------
    largest : ndarray
        One value a pattern; half of all sign patterns stand for all, since turning every sign changes nothing.
    patterns : int
        Patterns that a p rests on.
    smallest_p : float
        The smallest p that this many riders can give.
    method : str
        In words.
    """

    largest: Array
    patterns: int
    smallest_p: float
    method: str

    def critical_t(self, level: float) -> float:
        """Value that at most 1 − level of the patterns exceed."""
        exceeding = math.floor((1 - level) * len(self.largest) + TIE)
        return float(np.sort(self.largest)[len(self.largest) - 1 - exceeding])

    @property
    def p(self) -> float:
        """Share of patterns whose largest |t| reaches the one observed."""
        return float(np.mean(self.largest >= self.largest[0] * (1 - TIE)))


def mean_and_error(curves: Array, sequence: Codes) -> tuple[Array, Array]:
    """Unweighted mean of the sequence means at every angle, and its standard error on n − sequences df."""
    sizes = np.bincount(sequence)
    means = np.array([curves[sequence == code].mean(axis=0) for code in range(len(sizes))])
    squares = ((curves - means[sequence]) ** 2).sum(axis=0)
    variance = squares / (len(curves) - len(sizes))
    return means.mean(axis=0), np.sqrt(variance * (1 / sizes).sum()) / len(sizes)


def find_null_distribution(curves: Array, sequence: Codes, level: float, seed: int) -> NullDistribution:
    """Relabel two sequences where that is fine enough for the level, else flip signs.

    Parameters
    ----------
    curves : ndarray, shape (riders, angles)
    sequence : ndarray of int, shape (riders,)
        Codes from 0; all 0 where no adjustment is wanted.
    """
    sizes = np.bincount(sequence)
    if len(sizes) == 2:
        ways = math.comb(len(sequence), int(sizes[0]))
        # Equal groups may be swapped without changing |t|.
        if FINE_ENOUGH * (2 if sizes[0] == sizes[1] else 1) / ways <= 1 - level + TIE:
            return _relabel(curves, sequence, sizes, seed)
    return _flip(curves, sequence, sizes, seed)


def _relabel(curves: Array, sequence: Codes, sizes: Codes, seed: int) -> NullDistribution:
    """Share the two sequences out among riders in every way, or at random.

    In mirrored sequences the curve of differences is ±(period contrast): turned to one sign, period contrasts of
    both sequences are alike but for the ring, whatever the periods do. So this is an exact test.
    """
    scaled = np.where(sequence == 0, 1.0, -1.0)[:, None] * curves
    # Freed of its mean, the sum of one group says everything: the share of it in all squares gives t² as in _flip.
    scaled -= scaled.mean(axis=0)
    n, ways = len(curves), math.comb(len(curves), int(sizes[0]))
    scaled *= np.sqrt((1 / sizes).sum() / (scaled**2).sum(axis=0))
    exact = ways <= MOST_PATTERNS_EXACT
    choices = _all_choices(sequence == 0) if exact else deal_at_random((sequence == 0).astype(float), seed)
    values = _t_of_share(np.concatenate([np.abs(chosen @ scaled).max(axis=1) for chosen in choices]), n - 2)
    floor = (2 if sizes[0] == sizes[1] else 1) / ways if exact else 1 / len(values)
    count = ways if exact else len(values) - 1
    method = (
        f"max-t over {'all' if exact else 'random'} {count} ways to share out the two sequences, adjusted for"
        f" sequence, smallest possible p {floor:.2g}"
    )
    return NullDistribution(values, count, floor, method)


def _flip(curves: Array, sequence: Codes, sizes: Codes, seed: int) -> NullDistribution:
    """Flip the signs of riders' curves, freed of what sequences add to them (Freedman & Lane 1983)."""
    n = len(curves)
    exact = 2**n <= MOST_PATTERNS_EXACT
    patterns = _all_signs(n) if exact else _random_signs(n, seed)
    if len(sizes) == 1:
        # Flipping leaves Σ d² alone, so t² = (n − 1) r²/(1 − r²) with r = Σ s d/sqrt(n Σ d²): one matrix product.
        scaled = curves / np.sqrt(n * (curves**2).sum(axis=0))
        shares = np.concatenate([np.abs(signs @ scaled).max(axis=1) for signs in patterns])
        values = _t_of_share(shares, n - 1)
    else:
        freed = _free_of_sequences(curves, sequence, sizes)
        values = np.concatenate([_largest_t(signs, freed, sequence, sizes) for signs in patterns])
    count = 2 * len(values) if exact else len(values) - 1
    floor = 2 / count if exact else 1 / len(values)
    adjusted = f" adjusted for {len(sizes)} sequences," if len(sizes) > 1 else ""
    method = (
        f"sign-flip max-t,{adjusted} {'all' if exact else 'random'} {count} patterns,"
        f" smallest possible p {floor:.2g}"
    )
    return NullDistribution(values, count, floor, method)


def _free_of_sequences(curves: Array, sequence: Codes, sizes: Codes) -> Array:
    """Residuals of least squares without the ring: of sequence means that average to zero, nearest to the data."""
    means = np.array([curves[sequence == code].mean(axis=0) for code in range(len(sizes))])
    surplus = means.mean(axis=0) / (1 / sizes).mean()
    return curves - (means - surplus / sizes[:, None])[sequence]


def _t_of_share(r: Array, df: int) -> Array:
    """t from the root of the share of squares that is the ring's; infinite where it is all of them."""
    with np.errstate(divide="ignore"):
        return np.sqrt(df * r**2 / np.maximum(1 - r**2, 0.0))


def _largest_t(signs: Array, freed: Array, sequence: Codes, sizes: Codes) -> Array:
    """Largest |t| over angles of the mean of sequence means, for each pattern of signs."""
    k, squares = len(sizes), (freed**2).sum(axis=0)
    mean, left = 0.0, squares
    for code, size in enumerate(sizes):
        part = signs[:, sequence == code] @ freed[sequence == code]
        mean = mean + part / (size * k)
        left = left - part**2 / size
    # A pattern that makes all riders of a sequence alike at an angle has an infinite t.
    left = np.where(left <= 1e-14 * squares, 0.0, left)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.nan_to_num(mean**2 / left, nan=0.0, posinf=np.inf).max(axis=1)
    return np.sqrt(ratio * (len(freed) - k) * k**2 / (1 / sizes).sum())


def _all_signs(n: int) -> Iterator[Array]:
    """All sign patterns that begin with +, the unflipped one first."""
    codes = np.arange(2 ** (n - 1))
    for start in range(0, len(codes), ROWS_AT_ONCE):
        bits = codes[start : start + ROWS_AT_ONCE, None] >> np.arange(n - 1) & 1
        yield np.column_stack([np.ones(len(bits)), 1 - 2 * bits])


def _random_signs(n: int, seed: int) -> Iterator[Array]:
    """The unflipped pattern, then random ones."""
    rng = np.random.default_rng(seed)
    yield np.ones((1, n), dtype=np.float64)
    for rows in random_blocks(n):
        bits = rng.integers(0, 2, size=(rows, n))
        yield 1 - 2 * bits.astype(np.float64)


def _all_choices(first: NDArray[np.bool_]) -> Iterator[Array]:
    """Every way to choose as many riders as ride the first sequence, those who did first."""
    yield first[None].astype(float)
    chosen = np.array(list(combinations(range(len(first)), int(first.sum()))))
    members = np.zeros((len(chosen), len(first)))
    np.put_along_axis(members, chosen, 1.0, axis=1)
    others = members[(members != first).any(axis=1)]
    for start in range(0, len(others), ROWS_AT_ONCE):
        yield others[start : start + ROWS_AT_ONCE]
