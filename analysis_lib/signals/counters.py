"""Counters of crank and wheel that roll over, and the angle and time that can be had from them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
CRANK_TURNS_ROLL, CRANK_TIME_ROLL_S, WHEEL_TIME_ROLL_S, TORQUE_ROLL_NM = 2**16, 64.0, 32.0, 2048.0
WHEEL_TURNS_ROLL = 2**32
ROLL_BY_FIELD = {
    "crank_turns": CRANK_TURNS_ROLL,
    "crank_time_s": CRANK_TIME_ROLL_S,
    "wheel_turns": WHEEL_TURNS_ROLL,
    "wheel_time_s": WHEEL_TIME_ROLL_S,
    "accumulated_torque_Nm": TORQUE_ROLL_NM,
}


def run_on(counter: FloatArray, roll: float) -> FloatArray:
    """Let a counter run on past its roll-overs; NaN where a message did not carry it.

    >>> run_on(np.array([65534.0, 1.0, 2.0]), 65536)
    array([65534., 65537., 65538.])
    """
    known = np.flatnonzero(np.isfinite(counter))
    out = counter.copy()
    if known.size:
        steps = np.mod(np.diff(counter[known]), roll)
        out[known] = counter[known[0]] + np.concatenate([[0.0], np.cumsum(steps)])
    return out


def unwrap_starts(first_turn_part: FloatArray, turns: FloatArray) -> FloatArray:
    """First angles in turns, growing: the counter tells how many whole turns lie between two messages.

    From one message to the next the angle goes on by a part of a turn and m whole ones; the counter goes on by m,
    and by one more where the part passes the angle at which it counts.
    """
    parts, counts = np.mod(np.diff(first_turn_part), 1.0), np.diff(turns)
    before = np.mod(_counting_place(first_turn_part, parts, counts) - first_turn_part[:-1], 1.0)
    whole = np.maximum(counts - (before <= parts), 0.0)
    return first_turn_part[0] + np.concatenate([[0.0], np.cumsum(parts + whole)])


def _counting_place(first_turn_part: FloatArray, parts: FloatArray, counts: FloatArray) -> float:
    """Angle (turns) at which the counter goes on: within every short step in which it did."""
    counted = (counts == 1) & (parts > 0) & (parts < 0.9)
    if not counted.any():
        return 0.0
    low, part = first_turn_part[:-1][counted], parts[counted]
    middle = np.angle(np.mean(np.exp(2j * math.pi * (low + part / 2)))) / (2 * math.pi)
    below = np.mod(middle - low, 1.0)
    return float(middle + (np.max(-below) + np.min(part - below)) / 2)


def time_of_turns(angle: FloatArray, turns: FloatArray, times: FloatArray, starts: FloatArray) -> FloatArray:
    """Time of each angle, from the times at which the turn counter went on; NaN outside them."""
    counted, first = np.unique(turns, return_index=True)
    shift = np.rint(np.median(starts - turns))
    return np.interp(angle, counted + shift, times[first], left=np.nan, right=np.nan)
