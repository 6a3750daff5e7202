"""Which turns of a recording break which rule."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis_lib.signals import turn_rules
from analysis_lib.signals.angle_bins import overlapping_blocks
from analysis_lib.signals.held_values import frozen_holds
from analysis_lib.signals.recording import Recording

if TYPE_CHECKING:
    from analysis_lib.signals.revolutions import Turns

FloatArray = NDArray[np.float64]
TURN_TOLERANCE = 1e-10  # turns; what the unit conversion of an hour's unwrapped angle can lose


def broken_rules(
    recording: Recording, turns: Turns, first_turn: int, growing: bool
) -> dict[str, NDArray[np.bool_]]:
    """Return, by each of `turn_rules.REASONS`, which turns break that rule, arrays of shape (turns,).

    Parameters
    ----------
    recording : Recording
    turns : Turns
        Cut from it, their reasons not told yet.
    first_turn : int
        Turn of the unwrapped crank angle that the first row holds.
    growing : bool
        Whether the angle never goes back.
    """
    rules, rows = turns.rules, turns.number.size

    def row_of(crank_rad: FloatArray) -> FloatArray:
        return crank_rad / (2 * math.pi) - first_turn

    cadence = 60 / turns.duration_s
    still = turns.bin_time_s.max(axis=1) >= rules.max_standstill_s
    before = _samples_before_gaps(recording.time_s, rules.max_gap_s)
    gap_ends = [row_of(recording.crank_rad[samples]) for samples in (before, before + 1)]
    saturated = row_of(recording.crank_rad[_saturated_in_any_channel(recording)])
    broken = {
        turn_rules.INCOMPLETE: _incomplete(row_of(recording.crank_rad[[0, -1]]), rows),
        turn_rules.GAP: _rows_between(np.minimum(*gap_ends), np.maximum(*gap_ends), rows),
        turn_rules.BACKWARDS: np.zeros(rows, dtype=bool)
        if growing
        else _going_back(row_of(recording.crank_rad), rules.max_backward_deg / 360, rows),
        turn_rules.SATURATED: _rows_between(saturated, saturated, rows),
        turn_rules.NO_TORQUE: still | (turns.two_leg_torque_Nm < rules.min_mean_torque_Nm),
        turn_rules.CADENCE: (cadence < rules.cadence_min_rpm) | (cadence > rules.cadence_max_rpm),
    }
    without = np.logical_or.reduce(list(broken.values()))
    stuck = (
        _stuck_for_a_turn(recording, turns) & ~broken[turn_rules.NO_TORQUE] & ~broken[turn_rules.INCOMPLETE]
    )
    stuck = _with_those_beside(stuck)
    if rules.min_torque_range_Nm > 0:
        frozen = row_of(recording.crank_rad[_frozen_in_any_channel(recording, turns, ~(without | stuck))])
        stuck |= _rows_between(frozen[:, 0], frozen[:, 1], rows)
    return broken | {turn_rules.STUCK: stuck}


def _stuck_for_a_turn(recording: Recording, turns: Turns) -> NDArray[np.bool_]:
    """Which turns have a channel that holds within less than the least range."""
    ranges = np.array([np.ptp(turns.profiles[channel], axis=1) for channel in recording.torque])
    return np.any(ranges < turns.rules.min_torque_range_Nm, axis=0)


def _frozen_in_any_channel(recording: Recording, turns: Turns, sound: NDArray[np.bool_]) -> NDArray[np.intp]:
    """First and last sample of each stretch in which a channel froze, by what it does in the sound turns."""
    found = [
        frozen_holds(holds, recording.torque[channel], recording.crank_rad, turns.profiles[channel][sound])
        for channel, holds in recording.held.items()
    ]
    return np.concatenate([np.zeros((0, 2), dtype=np.intp), *found])


def _incomplete(ends: FloatArray, rows: int) -> NDArray[np.bool_]:
    """Which rows of turns the recording does not span; `ends` are its two ends in rows."""
    (first, last), row = ends, np.arange(rows)
    return (first > row + TURN_TOLERANCE) | (last < row + 1 - TURN_TOLERANCE)


def _with_those_beside(stuck: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Turns in which a channel is stuck, and those beside them: within one it stopped, within the other it went on."""
    touched = stuck.copy()
    touched[:-1] |= stuck[1:]
    touched[1:] |= stuck[:-1]
    return touched


def _samples_before_gaps(time_s: FloatArray, max_gap_s: float) -> NDArray[np.intp]:
    found = [
        block.start + np.flatnonzero(np.diff(time_s[block]) > max_gap_s)
        for block in overlapping_blocks(time_s.size)
    ]
    return np.concatenate(found)


def _going_back(position: FloatArray, max_backward: float, rows: int) -> NDArray[np.bool_]:
    """Which rows are touched while the angle lies behind the farthest it has reached; positions in rows."""
    farthest = np.maximum.accumulate(position)
    behind = np.flatnonzero(farthest - position > max_backward)
    return _rows_between(position[behind], farthest[behind], rows)


def _saturated_in_any_channel(recording: Recording) -> NDArray[np.intp]:
    return np.concatenate([np.zeros(0, dtype=np.intp), *recording.saturated.values()])


def _rows_between(low: FloatArray, high: FloatArray, rows: int) -> NDArray[np.bool_]:
    """Which rows any of the spans [low, high] touches."""
    opened = np.bincount(np.clip(np.floor(low), 0, rows).astype(np.intp), minlength=rows + 1)
    closed = np.bincount(np.clip(np.floor(high) + 1, 0, rows).astype(np.intp), minlength=rows + 1)
    return np.cumsum(opened - closed)[:rows] > 0
