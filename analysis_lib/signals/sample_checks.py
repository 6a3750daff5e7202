"""Checks on the samples of a recording, each naming the row at fault."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recorder import ColumnSource
from analysis_lib.signals.stored_columns import StoredColumns

FloatArray = NDArray[np.float64]
FEWEST_SAMPLES = 10
TOTAL_MISMATCH = 0.05  # of the total's root mean square
COLDEST_C, WARMEST_C = -40.0, 70.0  # the bounds of the tables' temperatures
ROOM_C = (5.0, 45.0)


def check_time(time_s: FloatArray, first_row: int, stored: StoredColumns, column: str, file: str) -> None:
    """Refuse too few samples, and a time that is missing, stands still or goes backwards."""
    if time_s.size < FEWEST_SAMPLES:
        raise Refusal(
            what=file,
            got=f"{time_s.size} samples",
            wanted=f"at least {FEWEST_SAMPLES}",
            remedy="copy the file from the recorder again, or exclude the trial with its reason",
            scope="trial",
        )
    row = _first_row_without_progress(time_s)
    if row is None:
        return
    raise Refusal(
        what=f"{file}, {stored.row_name(first_row + row)}, column {column!r}",
        got=_fault_of_time(time_s, row),
        wanted="a time later than that of the row before",
        remedy="set start_s and end_s in trials.csv to leave the fault out, or exclude the trial",
        scope="trial",
    )


def _first_row_without_progress(time_s: FloatArray) -> int | None:
    if not np.isfinite(time_s[0]):
        return 0
    stalled = ~(np.diff(time_s) > 0)
    return int(np.argmax(stalled)) + 1 if stalled.any() else None


def _fault_of_time(time_s: FloatArray, row: int) -> str:
    if not np.isfinite(time_s[row]):
        return "no time"
    if time_s[row] == time_s[row - 1]:
        return f"time standing still at {time_s[row]:.9g} s"
    return f"time going backwards from {time_s[row - 1]:.9g} to {time_s[row]:.9g} s"


def whole_samples(columns: dict[str, FloatArray], file: str) -> NDArray[np.bool_]:
    """Return which samples have all their values; refuse when hardly any has."""
    whole = np.logical_and.reduce([np.isfinite(values) for values in columns.values()])
    if np.count_nonzero(whole) >= FEWEST_SAMPLES:
        return whole
    raise Refusal(
        what=file,
        got=f"{np.count_nonzero(~whole)} of {whole.size} samples without an angle or a torque",
        wanted=f"at least {FEWEST_SAMPLES} whole samples",
        remedy="map the columns that hold the angle and the torque, or exclude the trial with its reason",
        scope="trial",
    )


def check_temperature(warmth_C: FloatArray, source: ColumnSource, file: str) -> None:
    """Refuse a temperature that no recorder is ridden at, naming the scale that would bring it to that of a room."""
    worst = float(warmth_C[np.argmax(np.abs(warmth_C - (COLDEST_C + WARMEST_C) / 2))])
    if COLDEST_C < worst < WARMEST_C:
        return
    usual = float(np.median(warmth_C))
    scales = [times for times in (0.1, 0.01, 0.001) if ROOM_C[0] < usual * times < ROOM_C[1]]
    fits = (
        f": {usual:.6g} would be {usual * scales[0]:.3g} °C with scale = {scales[0] * source.scale:g}"
        if scales
        else ""
    )
    raise Refusal(
        what=f"{file}, column {source.column!r} declared in {source.unit!r}",
        got=f"{worst:.6g} °C",
        wanted=f"a temperature of the recorder from {COLDEST_C:g} to {WARMEST_C:g} °C",
        remedy=f"declare the column's scale, stored × scale = °C{fits}; or map none (kelvin cannot be declared)",
        scope="trial",
    )


def legs_agreeing_with_total(torque: dict[str, FloatArray], file: str) -> tuple[dict[str, FloatArray], str]:
    """Return the two legs without the total that was recorded beside them, and how well it agreed.

    Raises
    ------
    Refusal
        When left + right differs from the total by 5 % or more, root mean square against root mean square.
    """
    total = torque["total"]
    mismatch = _root_mean_square(torque["left"] + torque["right"] - total)
    if mismatch >= TOTAL_MISMATCH * _root_mean_square(total):
        raise Refusal(
            what=f"{file}, torque of left, right and total",
            got=f"left + right that differs from the total by {mismatch:.3g} N·m (root mean square)",
            wanted=f"less than {100 * TOTAL_MISMATCH:g} % of the total's root mean square",
            remedy="check units and scales of the three columns, or map only the legs or only the total",
            scope="trial",
        )
    legs = {"left": torque["left"], "right": torque["right"]}
    return legs, f"The recorded total torque agrees with left + right to {mismatch:.2g} N·m and was not used."


def _root_mean_square(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
