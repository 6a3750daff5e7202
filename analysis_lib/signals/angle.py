"""The crank angle of a recording: unwrapped, and checked against its declared unit."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle_bins import overlapping_blocks

FASTEST_RPM = 300.0  # above any sprint: a higher cadence means a wrong unit
SLOWEST_RPM = 5.0  # below any ride: a lower one too
FEWEST_SAMPLES_A_TURN = 4
LONG_STEP_TURNS = 0.25  # a gap in which the crank travels farther is bridged at the recording's own speed
WRAP_MISMATCH_TURNS = 0.1
FALLS_OF_ANOTHER_UNIT = 3  # a part of the recording in another unit falls that often; jitter does not
FULL_TURN_ELSEWHERE = {"deg": ("radians", 2 * math.pi / 360), "rad": ("turns", 1 / (2 * math.pi))}
TURNS_OF_UNIT = {"deg": 1 / 360, "rad": 1 / (2 * math.pi), "turn": 1.0}
USUAL_SCALES = (1.0, 0.1, 0.01, 0.001, 1e-4, 1e-6)
SAMPLES_FOR_A_HINT = 20_000
USUAL_STEPS = 10_000  # enough of a recording to learn its usual step from

CADENCE = "a mean cadence"
TIME_HINT = (
    "look at the unit of time_s (seconds declared as ms turn the crank 1000 times too fast, ms declared as s 1000 times too"
    " slowly)"
)

FloatArray = NDArray[np.float64]


def unwrap_turns(turns: FloatArray, time_s: FloatArray) -> FloatArray:
    """Undo the falls of a wrapped encoder, so that the angle goes on growing.

    A step beyond half a turn is a wrap: whole turns are added until the step is within half a turn. Across a
    gap in which the crank must have travelled more than a quarter of a turn, whole turns are added until the
    step comes nearest to the gap's length times the recording's own mean speed.

    Parameters
    ----------
    turns : array of shape (samples,)
        Angle in turns, wrapped or not. Changed in place.
    time_s : array of shape (samples,)
        Time of each sample, s.

    Returns
    -------
    array of shape (samples,)
        The same array, unwrapped; it starts at its first value.

    Examples
    --------
    >>> unwrap_turns(np.array([0.75, 0.0, 0.25]), np.array([0.0, 0.1, 0.2]))
    array([0.75, 1.  , 1.25])
    """
    wraps = find_steps(turns, 0.5)
    _take_off_after(turns, wraps, np.rint(turns[wraps + 1] - turns[wraps]))
    usual_s = float(np.median(np.diff(time_s[:USUAL_STEPS])))
    gaps = find_steps(time_s, 2 * usual_s)
    if gaps.size:
        steps, lengths_s = turns[gaps + 1] - turns[gaps], time_s[gaps + 1] - time_s[gaps]
        speed = (turns[-1] - turns[0] - steps.sum()) / (time_s[-1] - time_s[0] - lengths_s.sum())
        missed = np.rint(steps - speed * lengths_s)
        _take_off_after(turns, gaps, np.where(np.abs(speed * lengths_s) > LONG_STEP_TURNS, missed, 0.0))
    return turns


def find_steps(values: FloatArray, larger_than: float) -> NDArray[np.intp]:
    """Return the places after which a series steps by more than a bound, up or down."""
    blocks = overlapping_blocks(values.size)
    found = [block.start + np.flatnonzero(np.abs(np.diff(values[block])) > larger_than) for block in blocks]
    return np.concatenate([np.zeros(0, dtype=np.intp), *found])


def _take_off_after(turns: FloatArray, places: NDArray[np.intp], whole: FloatArray) -> None:
    """Take whole turns off all that comes after each place."""
    if whole.any():
        lengths = np.diff(np.concatenate([[-1], places, [turns.size - 1]]))
        turns -= np.repeat(np.concatenate([[0.0], np.cumsum(whole)]), lengths)


def check_travel(
    stored: FloatArray, turns: FloatArray, time_s: FloatArray, file: str, unit: str, scale: float = 1.0
) -> None:
    """Refuse an angle that does not move, runs backwards, or contradicts its declared unit.

    Parameters
    ----------
    stored, turns : arrays of shape (samples,)
        The angle in turns, as stored and unwrapped.
    time_s : array of shape (samples,)
        Time, s.
    file, unit : str
        For the message.
    scale : float
        Declared beside the unit.

    Raises
    ------
    Refusal
        No movement; backwards on the whole; less than one turn; more than 300 or less than 5 rpm; fewer than
        four samples a turn; falls that are no whole number of turns; a part in another unit.
    """
    travel = turns[-1] - turns[0]
    rpm = 60 * travel / (time_s[-1] - time_s[0])
    fault = _fault_of_travel(stored, turns, travel, rpm) or _fault_of_mixed_units(stored, unit)
    if not fault:
        return
    wrong_way = fault.endswith("backwards")
    thousand_times = any(SLOWEST_RPM <= abs(rpm) * times <= FASTEST_RPM for times in (0.001, 1000.0))
    if fault.startswith(CADENCE) and thousand_times and _falls_by_single_turns(stored):
        raise Refusal(
            f"{file}, time beside the crank angle",
            fault,
            f"{SLOWEST_RPM:g} to {FASTEST_RPM:g} rpm",
            f"the angle falls by one turn, so its unit is right: {TIME_HINT}",
            scope="trial",
        )
    scaled = f" with scale = {scale:g}" if scale != 1 else ""
    raise Refusal(
        what=f"{file}, crank angle declared in {unit!r}{scaled}",
        got=fault,
        wanted=f"an angle that grows in the pedalling direction at {SLOWEST_RPM:g} to {FASTEST_RPM:g} rpm",
        remedy=f"set scale = {-scale:g} for the angle if the recorder counts the other way round"
        if wrong_way
        else "unit or scale is probably wrong: look at the numbers and declare 'deg', 'rad' or 'turn'"
        + _units_that_fit(stored, time_s, unit, scale)
        + (f"; or {TIME_HINT}" if fault.startswith(CADENCE) and thousand_times else ""),
        scope="trial",
    )


def _units_that_fit(stored: FloatArray, time_s: FloatArray, unit: str, scale: float) -> str:
    """Name the unit and scale with which the stored numbers would be a crank's angle, if it is one alone.

    It is a hint for a reader who knows the recorder; nothing is ever read with it.
    """
    if unit not in TURNS_OF_UNIT:
        return ""
    part = slice(0, SAMPLES_FOR_A_HINT)
    numbers, time = stored[part] / (scale * TURNS_OF_UNIT[unit]), time_s[part]
    fitting = []
    for other, times in itertools.product(TURNS_OF_UNIT, USUAL_SCALES):
        tried = numbers * (times * TURNS_OF_UNIT[other])
        turns = unwrap_turns(tried.copy(), time)
        rpm = 60 * (turns[-1] - turns[0]) / (time[-1] - time[0])
        if not _fault_of_travel(tried, turns, turns[-1] - turns[0], rpm) and find_steps(tried, 0.5).size:
            fitting.append(
                f'; they fit unit = "{other}"'
                + (f" with scale = {times:g}" if times != 1 or scale != 1 else "")
            )
    return fitting[0] if len(fitting) == 1 else ""


def _fault_of_travel(stored: FloatArray, turns: FloatArray, travel: float, rpm: float) -> str:
    if np.ptp(stored) == 0:
        return "an angle that does not move"
    if np.ptp(turns) < 1:
        return f"{360 * np.ptp(turns):.4g} degrees in the whole recording, less than one turn"
    if mismatch := _fault_of_wraps(stored, turns):
        return mismatch
    if abs(rpm) > FASTEST_RPM:
        return f"{CADENCE} of {rpm:.0f} rpm"
    if abs(rpm) < SLOWEST_RPM:
        return f"{CADENCE} of {rpm:.2f} rpm"
    if travel < 0:
        return f"{-travel:.1f} turns backwards"
    if (turns.size - 1) / travel < FEWEST_SAMPLES_A_TURN:
        return f"{(turns.size - 1) / travel:.1f} samples a turn"
    return ""


def _fault_of_wraps(stored: FloatArray, turns: FloatArray) -> str:
    """Compare the falls of the stored angle with whole turns: unwrapped, it must run on evenly there."""
    wraps = find_steps(stored, 0.5)
    if not wraps.size:
        return ""
    if wraps.size > 0.25 * stored.size:
        return "more than half a turn between most samples"
    usual = np.median(np.diff(turns[:USUAL_STEPS]))
    uneven = np.median(turns[wraps + 1] - turns[wraps]) - usual
    if abs(uneven) > WRAP_MISMATCH_TURNS:
        falls = np.median(np.abs(stored[wraps + 1] - stored[wraps]))
        return f"falls of {falls:.4g} turns, which are no whole turns"
    return ""


def _falls_by_single_turns(stored: FloatArray) -> bool:
    """Whether the stored angle starts anew after each turn, as it does in no other unit than its own."""
    wraps = find_steps(stored, 0.5)
    return bool(wraps.size and np.median(np.abs(stored[wraps + 1] - stored[wraps])) < 1.5)


def _fault_of_mixed_units(stored: FloatArray, unit: str) -> str:
    """Look for the falls of a full turn in another unit: a part of the file that wraps at 2π among degrees."""
    other, full = FULL_TURN_ELSEWHERE.get(unit, ("", 0.0))
    if not other:
        return ""
    at = find_steps(stored, 0.6 * full)
    before, after = stored[at] / full, stored[at + 1] / full
    from_zero = (before > 0.7) & (before < 1.001) & (after > -0.001) & (after < 0.3)
    about_zero = (before > 0.35) & (before < 0.501) & (after > -0.501) & (after < -0.35)
    falls = int(np.count_nonzero(from_zero | about_zero))
    if falls < FALLS_OF_ANOTHER_UNIT:
        return ""
    return f"{falls} falls of one turn as it is in {other}, so a part in {other}"
