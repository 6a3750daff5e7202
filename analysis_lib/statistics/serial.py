"""How sure is the mean of a series whose values remember one another, such as successive turns?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.flat_top import block_lengths, flat_top, variance_by_blocks

FEWEST = 10
ROUNDING = 1e-12  # of a variance; below lies rounding


@dataclass(frozen=True)
class SerialMean:
    """Mean of a serially correlated series and its standard error.

    Parameters
    ----------
    mean, se : float
        In the unit of the series.
    n : int
        How many values.
    n_effective : float
        How many independent values would give the same standard error; more than n when neighbours alternate.
    block_length : int
        Length of the blocks within which the series remembers itself.
    """

    mean: float
    se: float
    n: int
    n_effective: float
    block_length: int


def mean_with_se(x: ArrayLike) -> SerialMean:
    """Mean of a series with a standard error that allows for serial correlation.

    se² is the larger of two estimates of the variance of a mean: the flat-top window Σ λ(k) R(k)/n over lags
    that `block_length` chooses, divided by 1 − Σ λ(k)/n for having removed the mean; and the variance of the
    means of overlapping circular blocks, (b/n) · mean square/(1 − b/n). The first has little bias, the second
    is never negative and is s²/n when b = 1. Where both vanish it is s²/n. In autoregressive series of 60 to
    600 values the 95 % interval mean ± 1.96 se then covers 83 to 95 % for a correlation of neighbours of 0.8 to
    0, where s/√n covers far less; short and strongly correlated series stay too optimistic. Where neighbours
    alternate (correlation −0.2 and −0.4) it covers 95 %, and s/√n in its place would cover 98 % and more.

    Parameters
    ----------
    x : array_like, shape (n,)
        Values in order, evenly spaced, at least 10, finite.

    Raises
    ------
    Refusal
        Fewer than ten values, or values that are not finite.

    References
    ----------
    Politis & Romano, J Time Ser Anal 1995;16:67 (flat-top window). Künsch, Ann Stat 1989;17:1217 (blocks).

    Examples
    --------
    A series that does not vary has no standard error and one block a value:

    >>> mean_with_se([3.0] * 12)
    SerialMean(mean=3.0, se=0.0, n=12, n_effective=12.0, block_length=1)
    """
    return means_with_se(_check_series(x)[None, :])[0]


def means_with_se(rows: ArrayLike) -> list[SerialMean]:
    """`mean_with_se` of many series of the same length at once.

    Parameters
    ----------
    rows : array_like, shape (series, n)
    """
    checked = np.asarray(rows, dtype=float)
    if not np.isfinite(checked).all() or checked.shape[1] < FEWEST:
        for row in checked:
            _check_series(row)
    n, means = checked.shape[1], checked.mean(axis=1)
    found = [SerialMean(mean, 0.0, n, float(n), 1) for mean in means.tolist()]
    varying = np.flatnonzero(np.ptp(checked, axis=1) > 16 * np.finfo(float).eps * np.abs(checked).max(axis=1))
    if varying.size:
        each = zip(varying.tolist(), means[varying].tolist(), *_errors(checked[varying]), strict=True)
        for place, mean, variance, n_effective, block in each:
            found[place] = SerialMean(mean, math.sqrt(variance), n, n_effective, block)
    return found


def _errors(series: NDArray[np.float64]) -> tuple[list[float], list[float], list[int]]:
    """Variance of the mean of each varying series, effective number of its values and length of its blocks."""
    n = series.shape[1]
    covariances, window = flat_top(series)
    blocks = np.ceil(block_lengths(covariances, window, n, "circular")).astype(int)
    left, independent = 1 - window.sum(axis=1) / n, covariances[:, 0] / n
    # A short series that repeats itself exactly: its window may be as wide as itself, and all its blocks alike.
    whole = np.where(left > 0, left, math.inf)
    by_window = np.vecdot(window, covariances) / n / whole
    variance = np.maximum(by_window, variance_by_blocks(series, blocks))
    variance = np.where(variance <= ROUNDING * independent, independent, variance)
    return variance.tolist(), ((covariances[:, 0] + variance) / variance).tolist(), blocks.tolist()


def block_length(x: ArrayLike, kind: Literal["circular", "stationary"] = "circular") -> float:
    """Choose the block length that makes a block bootstrap of the mean most precise.

    b = (2 G²/D)^(1/3) n^(1/3), with G = Σ λ(k)|k| R(k), D = (4/3) g² for circular (or moving) blocks and 2 g²
    for the stationary bootstrap, g = Σ λ(k) R(k), λ the flat-top window over twice the lag from which on the
    next K autocorrelations are all within ±2 sqrt(log10(n)/n); at most min(3 √n, n/3).

    Parameters
    ----------
    x : array_like, shape (n,)
        Values in order, at least 10.
    kind : {"circular", "stationary"}
        Scheme of the bootstrap.

    Returns
    -------
    float
        In values; round up to use it. 1 for a series that does not vary.

    Raises
    ------
    Refusal
        Fewer than ten values, values that are not finite, an unknown kind.

    References
    ----------
    Politis & White, Econom Rev 2004;23:53, with the correction of Patton, Politis & White, Econom Rev
    2009;28:372. Where the lag rule can be read in two ways, the reading of the authors' own program is taken:
    the first lag of the run of small autocorrelations counts.
    """
    if kind not in ("circular", "stationary"):
        raise Refusal(
            "kind of block bootstrap", repr(kind), "'circular' or 'stationary'", "choose one of these"
        )
    series = _check_series(x)
    if np.ptp(series) == 0:
        return 1.0
    return float(block_lengths(*flat_top(series[None, :]), len(series), kind)[0])


def block_indices(
    n: int, block_length: int, draws: int, rng: np.random.Generator, wrap: bool = True
) -> NDArray[np.intp]:
    """Draw index arrays for a block bootstrap of a series.

    Blocks of successive values start anywhere; enough of them are joined to give n values.

    Parameters
    ----------
    n : int
        Length of the series.
    block_length : int
        Values a block, 1 to n.
    draws : int
        How many resamples.
    rng : numpy.random.Generator
        Source of the draws.
    wrap : bool
        Whether a block may run over the end and go on at the beginning (circular: every value is drawn
        equally often) or must fit into the series (moving blocks).

    Returns
    -------
    ndarray of int, shape (draws, n)

    Raises
    ------
    Refusal
        A block length outside 1 to n, or a negative number of draws.

    References
    ----------
    Politis & Romano 1992 (circular); Künsch, Ann Stat 1989;17:1217 (moving).

    Examples
    --------
    >>> block_indices(6, 6, 1, np.random.default_rng(0), wrap=False)
    array([[0, 1, 2, 3, 4, 5]])
    """
    if not 1 <= block_length <= n:
        raise Refusal("block length", f"{block_length}", f"1 to {n}", "round up what `block_length` gives")
    if draws < 0:
        raise Refusal("draws", f"{draws}", "zero or more", "give the number of resamples")
    blocks = math.ceil(n / block_length)
    last_start = n if wrap else n - block_length + 1
    starts = rng.integers(0, last_start, size=(draws, blocks, 1))
    indices = (starts + np.arange(block_length)) % n
    return indices.reshape(draws, -1)[:, :n]


def effective_sample_size(autocorrelations: ArrayLike) -> float:
    """How many independent values have the same standard error of the mean: n/(1 + 2 Σ (1 − k/n) ρ_k).

    Parameters
    ----------
    autocorrelations : array_like, shape (n − 1,)
        ρ_1 … ρ_(n−1) of a series of n values, known or assumed.

    Examples
    --------
    Two values with correlation 0.5: 2/(1 + 2 · ½ · 0.5) = 4/3.

    >>> round(effective_sample_size([0.5]), 4)
    1.3333
    """
    rho = np.asarray(autocorrelations, dtype=float)
    n = len(rho) + 1
    share = 1 - np.arange(1, n) / n
    return float(n / (1 + 2 * share @ rho))


def _check_series(x: ArrayLike) -> NDArray[np.float64]:
    series = np.asarray(x, dtype=float)
    if series.ndim != 1 or len(series) < FEWEST:
        raise Refusal(
            "series",
            f"shape {series.shape}",
            f"at least {FEWEST} values in a row",
            "serial correlation cannot be seen in fewer; use a longer trial",
        )
    if not np.isfinite(series).all():
        place = int(np.flatnonzero(~np.isfinite(series))[0])
        raise Refusal(
            f"series, value {place + 1}", f"{series[place]}", "finite values", "drop what is missing"
        )
    return series
