"""Work and time in each degree of the crank, by exact integration between the samples."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BINS_A_TURN = 360
BIN_RAD = 2 * math.pi / BINS_A_TURN
ROUNDING = 1e-9  # turns; an angle this close below the last dead centre may round up to it
SAMPLES_A_BLOCK = 1 << 16  # a block and its temporaries stay in a processor's cache


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
    growing : bool
        Whether the angle never went back.
    """

    first_turn: int
    time_s: FloatArray
    work_J: list[FloatArray]
    growing: bool


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
    only_growing = True
    for block in overlapping_blocks(time_s.size):
        angle = crank_rad[block] * (1 / BIN_RAD)
        growing = bool(np.all(angle[1:] >= angle[:-1]))
        only_growing &= growing
        lowest, angle = _from_lowest_bin(angle, float(angle[0] if growing else angle.min()))
        split = _split_growing if growing else _split_any
        time, works = split(time_s[block], angle, [torque[block] for torque in torques])
        start = lowest - first_turn * BINS_A_TURN
        time_sums[start : start + time.size] += time
        for work_sum, work in zip(work_sums, works, strict=True):
            work_sum[start : start + time.size] += work * BIN_RAD
    shape = (turns, BINS_A_TURN)
    work_by_channel = [work.reshape(shape) for work in work_sums]
    return BinSums(first_turn, time_sums.reshape(shape), work_by_channel, only_growing)


def overlapping_blocks(samples: int) -> Iterator[slice]:
    """Cover a series by blocks, each beginning at the last sample of the one before."""
    for start in range(0, samples - 1, SAMPLES_A_BLOCK):
        yield slice(start, start + SAMPLES_A_BLOCK + 1)


def _from_lowest_bin(angle: FloatArray, least: float) -> tuple[int, FloatArray]:
    """Count from the lowest bin met; an angle just below an edge can round up to it on the way."""
    lowest = math.floor(least)
    rounded_up = math.floor(least - lowest)
    return lowest + rounded_up, angle - lowest - rounded_up if rounded_up else angle - lowest


def _split_growing(
    time_s: FloatArray, angle: FloatArray, torques: list[FloatArray]
) -> tuple[FloatArray, list[FloatArray]]:
    """Give each segment to the bin it begins in, then pass on what lies beyond each edge.

    The angle only grows, so every edge is met once, and a segment that meets several passes its work on from
    bin to bin. `angle` counts bins from the block's lowest. Work comes in N m × bins.
    """
    bins = angle.astype(np.intp)
    before = np.flatnonzero(bins[1:] != bins[:-1])
    if before.size < bins[-1]:  # some segments cross several edges
        before = np.repeat(np.arange(bins.size - 1), np.diff(bins))
    after = before + 1
    steps = angle[1:] - angle[:-1]
    past = np.arange(1, bins[-1] + 1) - angle[before]  # from the sample before to the edge
    share = past / steps[before]
    at_edge = np.empty(before.size + 2)
    at_edge[0], at_edge[-1] = time_s[0], time_s[-1]
    at_edge[1:-1] = time_s[before] + share * (time_s[after] - time_s[before])
    works = []
    for torque in torques:
        twice_work = (torque[1:] + torque[:-1]) * steps
        work = np.asarray(np.bincount(bins[:-1], twice_work, before.size + 1), dtype=float)
        torque_before = torque[before]
        twice_mean = 2 * torque_before + share * (torque[after] - torque_before)
        beyond = twice_work[before] - past * twice_mean
        work[:-1] -= beyond
        work[1:] += beyond
        works.append(work / 2)
    return at_edge[1:] - at_edge[:-1], works


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
