"""The right crank's angle of a recording, from whatever its recorder gives of it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle import check_travel, unwrap_turns
from analysis_lib.signals.markers import angle_from_markers
from analysis_lib.signals.pulses import CrankAngle, angle_from_index, angle_from_pulses, angle_from_rate
from analysis_lib.signals.recorder import ANGLE_COLUMNS, RecorderSettings

FloatArray = NDArray[np.float64]


def right_crank_angle(
    columns: dict[str, FloatArray], time_s: FloatArray, settings: RecorderSettings, file: str
) -> tuple[FloatArray, tuple[str, ...]]:
    """Make the right crank's angle and say what had to be assumed.

    Parameters
    ----------
    columns : dict of str to array of shape (samples,)
        Canonical columns; those that hold the angle are taken out. An encoder's angle is in turns.
    time_s : array of shape (samples,)
    settings : RecorderSettings
    file : str
        For messages.

    Returns
    -------
    tuple of array of shape (samples,) and tuple of str
        Unwrapped angle, rad, NaN where pulses leave it open; and sentences.

    Raises
    ------
    Refusal
        An angle that contradicts its unit or its pulses.
    """
    parts = {name: columns.pop(name) for name in ANGLE_COLUMNS[settings.angle]}
    if settings.angle == "encoder":
        stored = parts["crank_deg"]
        turns = unwrap_turns(stored.copy(), time_s)
        declared = settings.columns["crank_deg"]
        check_travel(stored, turns, time_s, file, declared.unit, declared.scale)
        notes: tuple[str, ...] = ()
    elif settings.angle == "markers":
        pedal_forward, pedal_up, axis_forward, axis_up = (parts[name] for name in ANGLE_COLUMNS["markers"])
        made = angle_from_markers(pedal_forward, pedal_up, axis_forward, axis_up, file)
        turns, notes = unwrap_turns(made.turns, time_s), (made.assumption,)
        check_travel(turns, turns, time_s, file, "markers")
    else:
        turns, notes = _turns_from_pulses(parts, time_s, settings, file)
    shift = (0.5 if settings.crank_side == "left" else 0.0) - settings.angle_offset_deg / 360
    if shift:
        turns += shift
    if settings.angle_offset_deg:
        notes = (*notes, say_offset(settings.angle_offset_deg))
    turns *= 2 * math.pi
    return turns, notes


def say_offset(offset_deg: float) -> str:
    """Say that a declared offset of the angle was taken off."""
    return f"The declared angle_offset_deg of {offset_deg:g}° was taken off the recorded crank angle."


def rising_edges(level: FloatArray, time_s: FloatArray, threshold: float) -> FloatArray:
    """Return when a level rises through a threshold, by straight lines between samples, s.

    >>> rising_edges(np.array([0.0, 0.0, 1.0, 1.0, 0.0]), np.arange(5.0), 0.5)
    array([1.5])
    """
    above = level >= threshold
    at = np.flatnonzero(~above[:-1] & above[1:])
    part = (threshold - level[at]) / (level[at + 1] - level[at])
    return time_s[at] + part * (time_s[at + 1] - time_s[at])


def _turns_from_pulses(
    parts: dict[str, FloatArray], time_s: FloatArray, settings: RecorderSettings, file: str
) -> tuple[FloatArray, tuple[str, ...]]:
    threshold = settings.pulse_threshold or 0.0
    index = rising_edges(parts["index_level"], time_s, threshold)
    try:
        angle = _angle(parts, time_s, index, threshold, settings)
    except Refusal as refusal:
        refusal.what = f"{file}, {refusal.what}"
        raise
    turns = angle.at(time_s) / (2 * math.pi)
    known = turns[np.isfinite(turns)]
    check_travel(known, known, time_s[np.isfinite(turns)], file, f"pulses ({settings.angle})")
    sample_s = float(np.median(np.diff(time_s)))
    moved = 360 * (known[-1] - known[0]) / float(np.ptp(time_s[np.isfinite(turns)])) * sample_s
    timing = f"Pulses are placed within one sample of {1000 * sample_s:.3g} ms, which is {moved:.2g}° of the crank."
    return turns, tuple(filter(None, (angle.assumption, timing)))


def _angle(
    parts: dict[str, FloatArray],
    time_s: FloatArray,
    index: FloatArray,
    threshold: float,
    settings: RecorderSettings,
) -> CrankAngle:
    match settings.angle:
        case "pulses":
            pulses = rising_edges(parts["pulse_level"], time_s, threshold)
            return angle_from_pulses(pulses, settings.pulses_per_turn or 0, index)
        case "rate":
            return angle_from_rate(time_s, parts["crank_rate_rad_s"], index)
        case _:
            return angle_from_index(index)
