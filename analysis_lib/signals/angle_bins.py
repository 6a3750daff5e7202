"""Work and time in each degree of the crank, by exact integration between the samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BINS_A_TURN = 360
BIN_RAD = 2 * math.pi / BINS_A_TURN
ROUNDING = 1e-9  # turns; an angle this close below the last dead centre may round up to it
SAMPLES_A_BLOCK = 1 << 15  # a block and its temporaries stay in a processor's cache


@dataclass(frozen=True)
class BinSums:
    """Sums over the bins of whole turns.

    Attributes
    ----------
    first_turn : int
        Turn of the first row: its bins begin at the unwrapped crank angle 2π × first_turn.
    time_s : array of shape (turns, 360)
        Time spent in each bin.
    work_J : list of arrays of shape (turns, 360)
        ∫ T dθ over each bin, a channel each.
    """

    first_turn: int
    time_s: FloatArray
    work_J: list[FloatArray]


def integrate_by_angle(time_s: FloatArray, crank_rad: FloatArray, torques: Sequence[FloatArray]) -> BinSums:
    """Split the path of the crank at every degree and add up work and time on each side.

    Between two samples, torque is linear in angle and angle is linear in time; both are integrated exactly up
    to each edge of a bin. Where the angle goes back, its work is counted negative and its time positive, in
    the bin where it happened. A bin that was passed through therefore has a net travel of one degree exactly,
    however the angle jittered on the way, and the work of all bins is ∫ T dθ along the path.

    Parameters
    ----------
    time_s, crank_rad : arrays of shape (samples,)
        Time and unwrapped crank angle.
    torques : sequence of arrays of shape (samples,)
        Torque channels, N m.

    Returns
    -------
    BinSums

    Examples
    --------
    Half a turn at constant speed and 2 N m: 180 bins of 2 · π/180 J.

    >>> sums = integrate_by_angle(np.array([0.0, 0.5]), np.array([0.0, math.pi]), [np.array([2.0, 2.0])])
    >>> print(round(sums.work_J[0].sum(), 9), round(sums.time_s[0, 0], 9))
    6.283185307 0.002777778
    """
    first_turn = math.floor(crank_rad.min() / BIN_RAD / BINS_A_TURN)
    turns = math.floor(crank_rad.max() / BIN_RAD / BINS_A_TURN + ROUNDING) + 1 - first_turn
    time_sums = np.zeros(turns * BINS_A_TURN)
    work_sums = [np.zeros(turns * BINS_A_TURN) for _ in torques]
    for start in range(0, time_s.size - 1, SAMPLES_A_BLOCK):
        block = slice(start, start + SAMPLES_A_BLOCK + 1)
        lowest, angle = _from_lowest_bin(crank_rad[block] / BIN_RAD)
        split = _split_growing if np.all(angle[1:] >= angle[:-1]) else _split_any
        time, works = split(time_s[block], angle, [torque[block] for torque in torques])
        bins = slice(lowest - first_turn * BINS_A_TURN, lowest - first_turn * BINS_A_TURN + time.size)
        time_sums[bins] += time
        for work_sum, work in zip(work_sums, works, strict=True):
            work_sum[bins] += work * BIN_RAD
    shape = (turns, BINS_A_TURN)
    return BinSums(first_turn, time_sums.reshape(shape), [work.reshape(shape) for work in work_sums])


def _from_lowest_bin(angle: FloatArray) -> tuple[int, FloatArray]:
    """Count from the lowest bin met; an angle just below an edge can round up to it on the way."""
    lowest = math.floor(angle.min())
    angle = angle - lowest
    rounded_up = math.floor(angle.min())
    return lowest + rounded_up, angle - rounded_up if rounded_up else angle


def _split_growing(
    time_s: FloatArray, angle: FloatArray, torques: list[FloatArray]
) -> tuple[FloatArray, list[FloatArray]]:
    """Read the running integrals at each edge; every edge is met once, for the angle only grows.

    `angle` counts bins from the block's lowest. Work comes in N m × bins.
    """
    bins = angle.astype(np.intp)
    crossed = np.diff(bins)
    segment = np.flatnonzero(crossed) if crossed.max() <= 1 else np.repeat(np.arange(crossed.size), crossed)
    steps = np.diff(angle)
    past = np.arange(1, bins[-1] + 1) - angle[segment]  # from the segment's first sample to the edge
    share = past / steps[segment]
    time_at_edge = time_s[segment] + share * (time_s[segment + 1] - time_s[segment])
    time = np.diff(time_at_edge, prepend=time_s[0], append=time_s[-1])
    works = []
    doubled = np.zeros(angle.size)
    for torque in torques:
        np.cumsum((torque[1:] + torque[:-1]) * steps, out=doubled[1:])
        rise = torque[segment + 1] - torque[segment]
        at_edge = doubled[segment] + past * (2 * torque[segment] + share * rise)
        works.append(np.diff(at_edge, prepend=0.0, append=doubled[-1]) / 2)
    return time, works


def _split_any(
    time_s: FloatArray, angle: FloatArray, torques: list[FloatArray]
) -> tuple[FloatArray, list[FloatArray]]:
    """Cut every segment into the pieces between the edges it meets, and add the pieces up by bin."""
    bins = angle.astype(np.intp)
    crossed = np.diff(bins)
    pieces = np.abs(crossed) + 1
    segment = np.repeat(np.arange(crossed.size), pieces)
    place = np.arange(segment.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    into = bins[segment] + np.sign(crossed)[segment] * place
    start, steps = angle[segment], np.diff(angle)[segment]
    forward = steps >= 0
    low, high = np.minimum(start, angle[segment + 1]), np.maximum(start, angle[segment + 1])
    left, right = np.maximum(into, low), np.minimum(into + 1, high)
    entered, left_at = np.where(forward, left, right), np.where(forward, right, left)
    moving = np.where(steps == 0, 1.0, steps)
    share_in = np.where(steps == 0, 0.0, (entered - start) / moving)
    share_out = np.where(steps == 0, 1.0, (left_at - start) / moving)
    count = int(bins.max()) + 1
    time = np.bincount(into, (share_out - share_in) * np.diff(time_s)[segment], count)
    middle, travel = (share_in + share_out) / 2, left_at - entered
    works = [
        np.bincount(into, travel * (torque[segment] + middle * np.diff(torque)[segment]), count).astype(float)
        for torque in torques
    ]
    return time.astype(float), works
