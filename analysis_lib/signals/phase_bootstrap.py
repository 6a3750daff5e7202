"""Block-bootstrap draws of the direction of a vector mean over turns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

ComplexArray = NDArray[np.complex128]
DRAWS_AT_ONCE = 250  # their block sums stay in a processor's cache


def draw_vector_sums(
    vectors: ComplexArray, block_length: int, draws: int, rng: np.random.Generator
) -> ComplexArray:
    """Resample a series of vectors by circular blocks and return each draw's sum.

    Every draw strings together blocks of neighbouring turns that begin anywhere and run on past the last turn
    to the first, until it has as many turns as the series; its last block is cut to fit. Block sums are
    differences of one running sum, so a draw costs its number of blocks, not of turns.

    Parameters
    ----------
    vectors : complex array of shape (turns,)
        Second harmonics of the turns, say.
    block_length : int
        Turns a block.
    draws : int
        Number of draws.
    rng : Generator
        Source of the blocks' beginnings.

    Returns
    -------
    complex array of shape (draws,)

    Notes
    -----
    Circular block bootstrap of Politis & Romano 1992.

    Examples
    --------
    Blocks as long as the series hold every turn once, wherever they begin.

    >>> draw_vector_sums(np.array([1, 2j, 3, 4j]), 4, 2, np.random.default_rng(0))
    array([4.+6.j, 4.+6.j])
    """
    turns = vectors.size
    length = min(block_length, turns)
    whole, rest = divmod(turns, length)
    running = np.concatenate([[0], np.cumsum(np.concatenate([vectors, vectors[:length]]))])
    block_sum = running[length : length + turns] - running[:turns]
    rest_sum = running[rest : rest + turns] - running[:turns]
    sums = np.empty(draws, dtype=complex)
    for first in range(0, draws, DRAWS_AT_ONCE):
        these = slice(first, min(first + DRAWS_AT_ONCE, draws))
        starts = rng.integers(0, turns, size=(these.stop - first, whole + 1))
        sums[these] = block_sum[starts[:, :whole]].sum(axis=1) + rest_sum[starts[:, whole]]
    return sums
