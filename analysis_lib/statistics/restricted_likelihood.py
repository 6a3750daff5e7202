"""Which variances make the data most likely, once the fixed effects are taken out (REML)?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from analysis_lib.refusals import Refusal

Array = NDArray[np.floating]

MOST_STEPS = 200
# A promised gain of 1e-14 is a distance of 1e-7 standard errors, and the step that closes it squares that.
SETTLED = 1e-14
LEAST_RESIDUAL = 1e-8  # of all variance; below it rounding spoils the informations
ROUNDING = 1e-12  # of the log-likelihood, relative: a step may seem to lose this much


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


@dataclass(frozen=True)
class LikelihoodPoint:
    """Everything that REML inference needs at one value of the variances.

    Attributes
    ----------
    variances, score : array (components,)
    expected, observed : array (components, components)
        Information: E_ij = ½ tr(P G_i P G_j), O_ij = y'P G_i P G_j P y − E_ij.
    loglik : float
        −½ [(n − p) log 2π + log|V| + log|X'V⁻¹X| + y'Py].
    coefficients, covariance : array (columns,), (columns, columns)
        Generalised least squares, C = (X'V⁻¹X)⁻¹.
    first : array (components, columns, columns)
        X'V⁻¹ G_i V⁻¹X, so that dC/ds_i = C first_i C.
    second : array (components, components, columns, columns)
        X'V⁻¹ G_i V⁻¹ G_j V⁻¹X.
    """

    variances: Array
    loglik: float
    score: Array
    expected: Array
    observed: Array
    coefficients: Array
    covariance: Array
    first: Array
    second: Array


def gather_blocks(y: Array, x: Array, groupings: list[NDArray], residual: NDArray) -> BlockedData:
    """Lay rows out in blocks that share no label of any grouping.

    `groupings` and `residual` hold integer codes from 0, one a row; each code of `residual` gets a variance.
    """
    block = _independent_blocks(groupings, len(y))
    position = np.empty(len(y), dtype=int)
    for rows in _rows_by_code(block):
        position[rows] = np.arange(len(rows))
    n_blocks, size = block.max() + 1, position.max() + 1
    parts = [_same_code(codes, block, position, (n_blocks, size)) for codes in groupings]
    for code in range(residual.max() + 1):
        diagonal = np.zeros((n_blocks, size))
        diagonal[block, position] = residual == code
        parts.append(diagonal[:, :, None] * np.eye(size))
    padded_y, padded_x = np.zeros((n_blocks, size)), np.zeros((n_blocks, size, x.shape[1]))
    padded_y[block, position], padded_x[block, position] = y, x
    empty = np.ones((n_blocks, size))
    empty[block, position] = 0
    padding = empty[:, :, None] * np.eye(size)
    return BlockedData(padded_y, padded_x, np.array(parts), padding, len(y), int(residual.max()) + 1)


def evaluate_likelihood(data: BlockedData, variances: Array) -> LikelihoodPoint:
    """Restricted log-likelihood, its slopes and both informations (Searle, Casella & McCulloch 1992, ch. 6).

    With W = V⁻¹, F = WX and u = Py = W(y − Xβ), every trace over P = W − F C F' splits into sums over blocks.
    """
    n_parts, n_columns = len(data.parts), data.x.shape[-1]
    v = np.tensordot(variances, data.parts, axes=1) + data.padding
    log_det_v = 2 * np.log(np.diagonal(np.linalg.cholesky(v), axis1=-2, axis2=-1)).sum()
    w = np.linalg.inv(v)
    wx = w @ data.x
    precision = np.tensordot(data.x, wx, axes=([0, 1], [0, 1]))
    covariance = np.linalg.inv(precision)
    coefficients = covariance @ np.tensordot(wx, data.y, axes=([0, 1], [0, 1]))
    rest = data.y - data.x @ coefficients
    u = (w @ rest[..., None])[..., 0]

    w_part = w @ data.parts
    part_wx = data.parts @ wx
    flat = _rows_first(part_wx)
    second = (flat.T @ _rows_first(w @ part_wx)).reshape(n_parts, n_columns, n_parts, n_columns)
    second = second.transpose(0, 2, 1, 3)
    first = (wx.reshape(-1, n_columns).T @ flat).reshape(n_columns, n_parts, n_columns).transpose(1, 0, 2)
    covariance_first = covariance @ first

    traces = w_part.reshape(n_parts, -1) @ w_part.swapaxes(-1, -2).reshape(n_parts, -1).T
    traces -= 2 * np.einsum("pq,ijqp->ij", covariance, second)
    traces += np.einsum("ipq,jqp->ij", covariance_first, covariance_first)
    part_u = (data.parts @ u[..., None])[..., 0]
    x_part_u = np.tensordot(part_u, wx, axes=([1, 2], [0, 1]))
    curvature = part_u.reshape(n_parts, -1) @ (w @ part_u[..., None]).reshape(n_parts, -1).T
    curvature -= x_part_u @ covariance @ x_part_u.T
    trace_p = np.einsum("ibmm->i", w_part) - np.einsum("ipp->i", covariance_first)
    n_free = data.n_rows - n_columns
    minus_twice = (
        n_free * np.log(2 * np.pi) + log_det_v + np.linalg.slogdet(precision)[1] + float((rest * u).sum())
    )
    return LikelihoodPoint(
        variances=variances,
        loglik=-0.5 * minus_twice,
        score=-0.5 * trace_p + 0.5 * (part_u * u).sum(axis=(1, 2)),
        expected=0.5 * traces,
        observed=curvature - 0.5 * traces,
        coefficients=coefficients,
        covariance=covariance,
        first=first,
        second=second,
    )


def maximise_likelihood(data: BlockedData) -> LikelihoodPoint:
    """Climb to the REML maximum over variances that are zero or more.

    Newton steps on the variance scale; each goes to the best point of the local parabola among variances
    ≥ 0, found exactly as a non-negative least squares problem, and is halved until the likelihood rises. So
    a step of length zero means that the slope is 0 at every positive variance and not upward at every zero
    one. On the scale of standard deviations zero would always look like a solution. Data are wanted in units
    in which their residual variance is near 1.

    Raises
    ------
    Refusal
        When a residual variance runs to zero, or the search does not settle.
    """
    n_parts, n_residual = len(data.parts), data.n_residual
    point = evaluate_likelihood(data, np.full(n_parts, 1 / (n_parts - n_residual + 1)))
    for _ in range(MOST_STEPS):
        try:
            step = _newton_step(point)
        except np.linalg.LinAlgError as error:  # rounding has eaten an information that is never singular
            raise _no_residual_left() from error
        step *= _share_that_keeps_residual(point.variances[-n_residual:], step[-n_residual:])
        gain = float(point.score @ step)
        start, point = point, _climb(data, point, step, gain)
        if (point.variances[-n_residual:] < LEAST_RESIDUAL * point.variances.sum()).any():
            raise _no_residual_left()
        if gain < SETTLED:
            return point
        if point is start:
            break
    raise Refusal(
        "variance components",
        "a search for the likeliest ones that does not settle",
        "data from which every variance can be estimated",
        "leave out the grouping with the fewest repeats",
    )


def _newton_step(point: LikelihoodPoint) -> Array:
    """Step to the top of the local parabola among variances ≥ 0; a zero that wants to fall stays.

    Curvature is the observed information, or the expected one where that is not positive definite.
    """
    free = (point.variances > 0) | (point.score > 0)
    here = np.ix_(free, free)
    try:
        root = np.linalg.cholesky(point.observed[here]).T
    except np.linalg.LinAlgError:
        root = np.linalg.cholesky(point.expected[here]).T
    target = root @ point.variances[free] + np.linalg.solve(root.T, point.score[free])
    step = np.zeros(len(free))
    step[free] = nnls(root, target)[0] - point.variances[free]
    return step


def _share_that_keeps_residual(residual: Array, step: Array) -> float:
    """How much of the step leaves every residual variance a twentieth of what it was, or more."""
    shrinking = step < 0
    return float(min(1.0, *(-0.95 * residual[shrinking] / step[shrinking]), 1.0))


def _climb(data: BlockedData, point: LikelihoodPoint, step: Array, gain: float) -> LikelihoodPoint:
    """Take the step, or the first of its halves that raises the likelihood."""
    for share in 0.5 ** np.arange(30):
        # A share of exactly 1 lands on 0 up to rounding; a variance just below 0 is 0.
        reached = evaluate_likelihood(data, np.maximum(point.variances + share * step, 0.0))
        if reached.loglik >= point.loglik + 1e-4 * share * gain - ROUNDING * (1 + abs(point.loglik)):
            return reached
    return point


def _no_residual_left() -> Refusal:
    return Refusal(
        "residual variance",
        "next to none inside the smallest groups, beside the variance between groups",
        "values that still differ inside the smallest groups",
        "leave out the finest grouping, or look for values that were copied",
    )


def _independent_blocks(groupings: list[NDArray], n_rows: int) -> NDArray:
    """Number the sets of rows that no chain of shared labels connects."""
    labels, offset = [], n_rows
    for codes in groupings:
        labels.append(codes + offset)
        offset += codes.max() + 1
    rows = np.tile(np.arange(n_rows), len(groupings))
    columns = np.concatenate(labels) if labels else rows
    links = coo_array((np.ones(len(rows)), (rows, columns)), shape=(offset, offset))
    return connected_components(links, directed=False)[1][:n_rows]


def _rows_by_code(codes: NDArray) -> list[NDArray]:
    order = np.argsort(codes, kind="stable")
    return np.split(order, np.cumsum(np.bincount(codes))[:-1])


def _same_code(codes: NDArray, block: NDArray, position: NDArray, shape: tuple[int, int]) -> Array:
    """Matrix ZZ' of a grouping, block by block: 1 where two rows share its label."""
    grid = np.full(shape, -1)
    grid[block, position] = codes
    return ((grid[:, :, None] == grid[:, None, :]) & (grid[:, :, None] >= 0)).astype(float)


def _rows_first(stack: Array) -> Array:
    """(components, blocks, size, columns) to (rows, components · columns)."""
    n_parts, n_columns = stack.shape[0], stack.shape[-1]
    return stack.transpose(1, 2, 0, 3).reshape(-1, n_parts * n_columns)
