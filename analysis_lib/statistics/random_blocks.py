"""Random patterns of riders, some at a time: no more of many riders than of few are in memory together."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

RANDOM_PATTERNS = 9999
"""Beside the one that happened."""

ROWS_AT_ONCE = 1024
CELLS_AT_ONCE = 2**18
"""Patterns that are in memory together, and patterns times riders: fewer patterns of more riders."""


def random_blocks(riders: int) -> Iterator[int]:
    """Yield how many patterns to draw at a time; the stream of chance is the same however they are cut."""
    at_once = max(1, min(ROWS_AT_ONCE, CELLS_AT_ONCE // riders))
    for start in range(0, RANDOM_PATTERNS, at_once):
        yield min(at_once, RANDOM_PATTERNS - start)


def deal_at_random(labels: NDArray[Any], seed: int) -> Iterator[NDArray[Any]]:
    """Yield the riders' own labels, then the same labels dealt out at random, as rows of arrays (patterns, riders)."""
    rng = np.random.default_rng(seed)
    yield labels[None]
    for rows in random_blocks(len(labels)):
        dealt = np.tile(labels, (rows, 1))
        yield rng.permuted(dealt, axis=1, out=dealt)
