"""Which rows hang together through shared labels, and how do their random effects vary together?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

Array = NDArray[np.floating]


@dataclass(frozen=True, eq=False)
class RandomTerm:
    """Rows with one label share an effect, each times its own weight.

    Two terms of one grouping may go together; their covariance is a term too, with the weights of both.

    Attributes
    ----------
    codes : array (rows,)
        Labels as numbers from 0.
    weights, other_weights : array (rows,)
        1 for an intercept, the number that a slope is counted by; they differ for a covariance alone.
    is_covariance : bool
    """

    codes: NDArray
    weights: Array
    other_weights: Array
    is_covariance: bool = False


@dataclass(frozen=True)
class BlockedData:
    """Rows gathered into blocks that share no random effect, padded to one size.

    V = Σ_k s_k G_k is block diagonal when every grouping is nested in riders. All sums over rows then run
    over small blocks; crossed groupings leave one block, and the same code.

    Attributes
    ----------
    y : array (blocks, size)
    x : array (blocks, size, columns)
    parts : array (components, blocks, size, size)
        G_k of each component; the last `n_residual` are residual variances.
    pairs : tuple of (int, int, int)
        Places of an intercept's variance, a slope's, and their covariance.
    padding : array (blocks, size, size)
        Unit diagonal where a block has no row, so that V can be inverted; adds 0 to every sum and to log|V|.
    n_rows, n_residual : int
    """

    y: Array
    x: Array
    parts: Array
    padding: Array
    n_rows: int
    n_residual: int
    pairs: tuple[tuple[int, int, int], ...] = ()


def gather_blocks(y: Array, x: Array, terms: list[RandomTerm], residual: NDArray) -> BlockedData:
    """Lay rows out in blocks that share no label of any grouping.

    `residual` holds integer codes from 0, one a row; each code gets a variance.
    """
    block = _independent_blocks([term.codes for term in terms], len(y))
    position = np.empty(len(y), dtype=int)
    for rows in _rows_by_code(block):
        position[rows] = np.arange(len(rows))
    n_blocks, size = block.max() + 1, position.max() + 1

    def lay_out(values: Array, empty: float = 0.0) -> Array:
        grid = np.full((n_blocks, size, *values.shape[1:]), empty)
        grid[block, position] = values
        return grid

    n_residual = int(residual.max()) + 1
    parts = np.empty((len(terms) + n_residual, n_blocks, size, size))
    for part, term in zip(parts, terms, strict=False):
        codes = lay_out(term.codes.astype(float), -1.0)
        same = (codes[:, :, None] == codes[:, None, :]) & (codes[:, :, None] >= 0)
        one, other = lay_out(term.weights), lay_out(term.other_weights)
        product = one[:, :, None] * other[:, None, :]
        part[:] = same * (product + product.swapaxes(1, 2) if term.is_covariance else product)
    for code, part in enumerate(parts[len(terms) :]):
        part[:] = lay_out((residual == code).astype(float))[:, :, None] * np.eye(size)
    padding = (1 - lay_out(np.ones(len(y))))[:, :, None] * np.eye(size)
    pairs = tuple((i - 2, i - 1, i) for i, term in enumerate(terms) if term.is_covariance)
    return BlockedData(lay_out(y), lay_out(x), parts, padding, len(y), n_residual, pairs)


def _independent_blocks(groupings: list[NDArray], n_rows: int) -> NDArray:
    """Number the sets of rows that no chain of shared labels connects."""
    labels, offset = [], n_rows
    for codes in groupings:
        labels.append(codes + offset)
        offset += codes.max() + 1
    rows = np.tile(np.arange(n_rows), len(groupings))
    columns = np.concatenate(labels) if labels else rows
    links = scipy.sparse.coo_array((np.ones(len(rows)), (rows, columns)), shape=(offset, offset))
    return scipy.sparse.csgraph.connected_components(links, directed=False)[1][:n_rows]


def _rows_by_code(codes: NDArray) -> list[NDArray]:
    order = np.argsort(codes, kind="stable")
    return np.split(order, np.cumsum(np.bincount(codes))[:-1])
