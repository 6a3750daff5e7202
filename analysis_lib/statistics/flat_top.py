"""The flat-top window of series that remember themselves: lags, block lengths and variance of blocks, many at once."""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def flat_top(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Autocovariances of every series from lag 0 on, and its window over both signs of the lag folded onto them.

    Parameters
    ----------
    rows : array of shape (series, n)
        Series that vary.

    Returns
    -------
    (array, array)
        Both of shape (series, lags); the window is 0 beyond the lags that a series' own rule takes in.
    """
    n = rows.shape[1]
    run = max(5, math.ceil(math.sqrt(math.log10(n))))
    most = min(math.ceil(math.sqrt(n)) + run, n - 2)
    rest = rows - rows.mean(axis=1, keepdims=True)
    covariances = np.stack([np.vecdot(rest[:, k:], rest[:, : n - k]) for k in range(most + 1)], axis=1) / n
    small = np.abs(covariances / covariances[:, :1]) < 2 * math.sqrt(math.log10(n) / n)
    starts = sliding_window_view(small[:, 1:], run, axis=1).all(axis=-1)
    lags = np.minimum(2 * np.where(np.any(starts, axis=1), starts.argmax(axis=1) + 1, most), most)
    k = np.arange(most + 1)
    window = np.clip(2 * (1 - k / lags[:, None]), 0.0, 1.0) * np.where(k == 0, 1, 2)
    return covariances, window


def block_lengths(covariances: FloatArray, window: FloatArray, n: int, kind: str) -> FloatArray:
    """Length of block of every series, not rounded; see `serial.block_length`."""
    slope = np.vecdot(window * np.arange(window.shape[1]), covariances)
    spread = (4 / 3 if kind == "circular" else 2) * np.vecdot(window, covariances) ** 2
    longest = float(math.ceil(min(3 * math.sqrt(n), n / 3)))
    with np.errstate(divide="ignore", invalid="ignore"):
        lengths = np.clip((2 * slope**2 / spread * n) ** (1 / 3), 1.0, longest)
    return np.where(spread == 0, longest, lengths)


def variance_by_blocks(rows: FloatArray, blocks: NDArray[np.int64]) -> FloatArray:
    """Variance of every series' mean from its overlapping circular blocks of its own length."""
    n = rows.shape[1]
    sums = np.zeros((len(rows), 1 + n + int(blocks.max())))
    np.cumsum(np.concatenate([rows, rows[:, : blocks.max()]], axis=1), axis=1, out=sums[:, 1:])
    ends = np.take_along_axis(sums, blocks[:, None] + np.arange(n), axis=1)
    means = (ends - sums[:, :n]) / blocks[:, None]
    scatter = np.mean((means - rows.mean(axis=1, keepdims=True)) ** 2, axis=1)
    return blocks / n * scatter / (1 - blocks / n)
