"""Block-bootstrap draws of the mean torque profile over turns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def draw_turn_counts(turns: int, block_length: int, draws: int, rng: np.random.Generator) -> FloatArray:
    """Return how often each draw holds each turn, when turns are resampled by circular blocks.

    Blocks of neighbouring turns begin anywhere and run on past the last turn to the first; the last block is
    cut, so that every draw holds as many turns as the series.

    Parameters
    ----------
    turns, block_length, draws : int
    rng : Generator
        Source of the blocks' beginnings.

    Returns
    -------
    array of shape (draws, turns)

    Notes
    -----
    Circular block bootstrap of Politis & Romano 1992.

    Examples
    --------
    Blocks as long as the series hold every turn once, wherever they begin.

    >>> draw_turn_counts(3, 3, 2, np.random.default_rng(0))
    array([[1., 1., 1.],
           [1., 1., 1.]])
    """
    length = min(block_length, turns)
    blocks = -(-turns // length)
    starts = rng.integers(0, turns, size=(draws, blocks))
    held = (starts[:, :, None] + np.arange(length)) % turns
    held = held.reshape(draws, -1)[:, :turns] + turns * np.arange(draws)[:, None]
    return np.bincount(held.ravel(), minlength=draws * turns).reshape(draws, turns).astype(float)


def draw_mean_profiles(
    profiles: FloatArray, block_length: int, draws: int, rng: np.random.Generator
) -> FloatArray:
    """Return bootstrap draws of the mean profile.

    A draw's mean weighs each turn by how often the draw holds it, so all draws are one matrix product.

    Parameters
    ----------
    profiles : array of shape (turns, bins)
    block_length, draws : int
    rng : Generator

    Returns
    -------
    array of shape (draws, bins)
    """
    return draw_turn_counts(len(profiles), block_length, draws, rng) @ (profiles / len(profiles))
