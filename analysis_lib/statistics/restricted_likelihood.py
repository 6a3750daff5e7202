"""How likely do certain variances make the data, once the fixed effects are taken out (REML)?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from analysis_lib.statistics.row_blocks import BlockedData

Array = NDArray[np.floating]

BLOCKS_AT_ONCE = 128
"""Blocks, such as riders, whose products of matrices are in memory together; of more, sums go from slice to slice."""


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


def evaluate_likelihood(data: BlockedData, variances: Array) -> LikelihoodPoint:
    """Restricted log-likelihood, its slopes and both informations (Searle, Casella & McCulloch 1992, ch. 6).

    With W = V⁻¹, F = WX and u = Py = W(y − Xβ), every trace over P = W − F C F' splits into sums over blocks.
    """
    n_columns = data.x.shape[-1]
    v = np.tensordot(variances, data.parts, axes=1) + data.padding
    log_det_v = 2 * np.log(np.diagonal(np.linalg.cholesky(v), axis1=-2, axis2=-1)).sum()
    w = np.linalg.inv(v)
    wx = w @ data.x
    precision = np.tensordot(data.x, wx, axes=([0, 1], [0, 1]))
    covariance = np.linalg.inv(precision)
    coefficients = covariance @ np.tensordot(wx, data.y, axes=([0, 1], [0, 1]))
    rest = data.y - data.x @ coefficients
    u = (w @ rest[..., None])[..., 0]
    part_u = (data.parts @ u[..., None])[..., 0]
    first, second, trace_w, traces_w = _sum_over_blocks(data, w, wx)
    covariance_first = covariance @ first
    half_traces = 0.5 * _traces(traces_w, covariance, covariance_first, second)
    trace_p = trace_w - np.einsum("ipp->i", covariance_first)
    logs = (data.n_rows - n_columns) * np.log(2 * np.pi) + log_det_v + np.linalg.slogdet(precision)[1]
    return LikelihoodPoint(
        variances=variances,
        loglik=-0.5 * (logs + float((rest * u).sum())),
        score=-0.5 * trace_p + 0.5 * (part_u * u).sum(axis=(1, 2)),
        expected=half_traces,
        observed=_curvature(w, wx, part_u, covariance) - half_traces,
        coefficients=coefficients,
        covariance=covariance,
        first=first,
        second=second,
    )


def _sum_over_blocks(data: BlockedData, w: Array, wx: Array) -> tuple[Array, Array, Array, Array]:
    """Sum X'W G_i W X, X'W G_i W G_j W X, tr(W G_i) and tr(W G_i W G_j) over the blocks, a slice at a time."""
    starts = range(0, len(w), BLOCKS_AT_ONCE)
    slices = [slice(start, start + BLOCKS_AT_ONCE) for start in starts]
    sums = [
        (*_sandwiches(parts, w[blocks], wx[blocks]), *_own_traces(parts, w[blocks]))
        for blocks in slices
        for parts in [data.parts[:, blocks]]
    ]
    first, second, trace_w, traces_w = (reduce(np.add, terms) for terms in zip(*sums, strict=True))
    return first, second, trace_w, traces_w


def _sandwiches(parts: Array, w: Array, wx: Array) -> tuple[Array, Array]:
    """X'W G_i W X and X'W G_i W G_j W X."""
    n_parts, n_columns = len(parts), wx.shape[-1]
    part_wx = parts @ wx
    flat = _rows_first(part_wx)
    second = (flat.T @ _rows_first(w @ part_wx)).reshape(n_parts, n_columns, n_parts, n_columns)
    first = (wx.reshape(-1, n_columns).T @ flat).reshape(n_columns, n_parts, n_columns)
    return first.transpose(1, 0, 2), second.transpose(0, 2, 1, 3)


def _own_traces(parts: Array, w: Array) -> tuple[Array, Array]:
    """tr(W G_i) and tr(W G_i W G_j)."""
    w_part, n_parts = w @ parts, len(parts)
    traces = w_part.reshape(n_parts, -1) @ w_part.swapaxes(-1, -2).reshape(n_parts, -1).T
    return np.einsum("ibmm->i", w_part), traces


def _traces(traces_w: Array, covariance: Array, covariance_first: Array, second: Array) -> Array:
    """tr(P G_i P G_j) = tr(W G_i W G_j) − 2 tr(C X'W G_i W G_j W X) + tr(C X'W G_i W X C X'W G_j W X)."""
    traces = traces_w - 2 * np.einsum("pq,ijqp->ij", covariance, second)
    return traces + np.einsum("ipq,jqp->ij", covariance_first, covariance_first)


def _curvature(w: Array, wx: Array, part_u: Array, covariance: Array) -> Array:
    """y'P G_i P G_j P y, from G_i u."""
    n_parts = len(part_u)
    x_part_u = np.tensordot(part_u, wx, axes=([1, 2], [0, 1]))
    curvature = part_u.reshape(n_parts, -1) @ (w @ part_u[..., None]).reshape(n_parts, -1).T
    return curvature - x_part_u @ covariance @ x_part_u.T


def _rows_first(stack: Array) -> Array:
    """(components, blocks, size, columns) to (rows, components · columns)."""
    n_parts, n_columns = stack.shape[0], stack.shape[-1]
    return stack.transpose(1, 2, 0, 3).reshape(-1, n_parts * n_columns)
