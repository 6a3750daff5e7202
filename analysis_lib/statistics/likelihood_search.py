"""Which variances make the data most likely (REML)?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.restricted_likelihood import LikelihoodPoint, evaluate_likelihood
from analysis_lib.statistics.row_blocks import BlockedData

Array = NDArray[np.floating]

MOST_STEPS = 200
# A promised gain of 1e-14 is a distance of 1e-7 standard errors, and the step that closes it squares that.
SETTLED = 1e-14
LEAST_RESIDUAL = 1e-8  # of all variance; below it rounding spoils the informations
ROUNDING = 1e-12  # of the log-likelihood, relative: a step may seem to lose this much
CLOSE_TO_ONE = 0.999  # square of a correlation


def maximise_likelihood(data: BlockedData) -> LikelihoodPoint:
    """Climb to the REML maximum over variances that are zero or more.

    Newton steps on the variance scale; each goes to the best point of the local parabola among variances
    ≥ 0, found exactly as a non-negative least squares problem, and is halved until the likelihood rises. So
    a step of length zero means that the slope is 0 at every positive variance and not upward at every zero
    one. On the scale of standard deviations zero would always look like a solution. Data are wanted in units
    in which their residual variance is near 1. A covariance may have either sign, and steps are shortened
    so that its square stays below the product of its variances.

    One of several residual variances may be zero too, where the other variances still make every row vary on its own:
    with one value a rider, period and intensity the variance of periods does that at one intensity.

    Raises
    ------
    Refusal
        When a residual variance runs to zero that nothing replaces, a correlation to ±1, or the search does not settle.
    """
    point = _search(data)
    gone = _vanishing(data, point.variances)
    return _maximum_without(data, gone) if gone.size else point


def _maximum_without(data: BlockedData, gone: NDArray[np.intp]) -> LikelihoodPoint:
    """Climb with some residual variances at zero, and make sure that the likelihood falls from there."""
    if gone.size == data.n_residual:
        raise _no_residual_left()
    kept = np.setdiff1d(np.arange(len(data.parts)), gone)
    rest = replace(data, parts=data.parts[kept], n_residual=data.n_residual - gone.size)
    try:
        found = _search(rest).variances
    except Refusal as refusal:
        raise _no_residual_left() from refusal
    if _vanishing(rest, found).size:
        raise _no_residual_left()
    variances = np.zeros(len(data.parts))
    variances[kept] = found
    point = evaluate_likelihood(data, variances)
    if (point.score[gone] > 0).any():
        raise _no_residual_left()
    return point


def _search(data: BlockedData) -> LikelihoodPoint:
    """Climb until the likelihood rises no more, or a residual variance is next to none."""
    n_parts, n_residual = len(data.parts), data.n_residual
    start_values = np.full(n_parts, 1 / (n_parts - n_residual + 1))
    start_values[_covariances(data)] = 0.0
    if not _is_regular(data, start_values):
        raise _no_residual_left()
    point = evaluate_likelihood(data, start_values)
    for _ in range(MOST_STEPS):
        try:
            step = _newton_step(point, _covariances(data))
        except np.linalg.LinAlgError as error:  # rounding has eaten an information that is never singular
            raise _no_residual_left() from error
        step *= _share_that_keeps_residual(point.variances[-n_residual:], step[-n_residual:])
        gain = float(point.score @ step)
        start, point = point, _climb(data, point, step, gain)
        if gain < SETTLED or _vanishing(data, point.variances).size:
            return point
        if point is start:
            break
    raise _not_settled(data, point)


def _vanishing(data: BlockedData, variances: Array) -> NDArray[np.intp]:
    """Places of the residual variances that are next to none beside all others."""
    residual = variances[-data.n_residual :]
    small = np.flatnonzero(residual < LEAST_RESIDUAL * np.abs(variances).sum())
    return small + len(data.parts) - data.n_residual


def _is_regular(data: BlockedData, variances: Array) -> bool:
    """Whether rows vary on their own: always where each has a residual variance, for the search leaves these above 0."""
    own = np.diagonal(data.parts[-data.n_residual :].sum(axis=0) + data.padding, axis1=-2, axis2=-1)
    if own.all():
        return True
    smallest = np.linalg.eigvalsh(np.tensordot(variances, data.parts, axes=1) + data.padding).min()
    return bool(smallest >= LEAST_RESIDUAL * np.abs(variances).sum())


def _covariances(data: BlockedData) -> list[int]:
    return [covariance for _, _, covariance in data.pairs]


def _is_possible(data: BlockedData, variances: Array, most: float = 1.0) -> bool:
    """Whether every covariance belongs to a correlation below `most`, in square."""
    return all(variances[c] ** 2 < most * variances[i] * variances[s] for i, s, c in data.pairs)


def _newton_step(point: LikelihoodPoint, signed: list[int]) -> Array:
    """Step to the top of the local parabola among variances ≥ 0; a zero that wants to fall stays.

    Components in `signed` may be negative: each is the difference of two columns that may not.

    Curvature is the observed information, or the expected one where that is not positive definite.
    """
    free = (point.variances > 0) | (point.score > 0)
    free[signed] = True
    here = np.ix_(free, free)
    try:
        root = np.linalg.cholesky(point.observed[here]).T
    except np.linalg.LinAlgError:
        root = np.linalg.cholesky(point.expected[here]).T
    target = root @ point.variances[free] + np.linalg.solve(root.T, point.score[free])
    step = np.zeros(len(free))
    negative = np.flatnonzero(np.isin(np.flatnonzero(free), signed))
    solution = scipy.optimize.nnls(np.hstack([root, -root[:, negative]]), target)[0]
    reached = solution[: len(root)]
    reached[negative] -= solution[len(root) :]
    step[free] = reached - point.variances[free]
    return step


def _share_that_keeps_residual(residual: Array, step: Array) -> float:
    """How much of the step leaves every residual variance a twentieth of what it was, or more."""
    shrinking = step < 0
    return float(min(1.0, *(-0.95 * residual[shrinking] / step[shrinking]), 1.0))


def _climb(data: BlockedData, point: LikelihoodPoint, step: Array, gain: float) -> LikelihoodPoint:
    """Take the step, or the first of its halves that raises the likelihood."""
    for share in 0.5 ** np.arange(30):
        wanted = point.variances + share * step
        # A share of exactly 1 lands on 0 up to rounding; a variance just below 0 is 0.
        clipped = np.maximum(wanted, 0.0)
        clipped[_covariances(data)] = wanted[_covariances(data)]
        if not (_is_possible(data, clipped) and _is_regular(data, clipped)):
            continue
        reached = evaluate_likelihood(data, clipped)
        if reached.loglik >= point.loglik + 1e-4 * share * gain - ROUNDING * (1 + abs(point.loglik)):
            return reached
    return point


def _not_settled(data: BlockedData, point: LikelihoodPoint) -> Refusal:
    if not _is_possible(data, point.variances, CLOSE_TO_ONE):
        return Refusal(
            "correlation of intercepts and slopes",
            "one that runs to ±1, or a variance that runs to zero",
            "data that carry three numbers of each grouping with a slope",
            "fit the slopes with slopes_correlate=False, or leave them out",
        )
    return Refusal(
        "variance components",
        "a search for the likeliest ones that does not settle",
        "data from which every variance can be estimated",
        "leave out the grouping with the fewest repeats",
    )


def _no_residual_left() -> Refusal:
    return Refusal(
        "residual variance",
        "next to none inside the smallest groups: the groupings take all of the spread",
        "values that differ inside the smallest groups by more than the groupings tell",
        "leave out the finest grouping, or record repeats",
    )
