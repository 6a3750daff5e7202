"""The mapped columns of a recording's file, brought to the library's own units."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.c3d_reader import read_c3d_columns
from analysis_lib.signals.csv_reader import read_csv_columns
from analysis_lib.signals.mat_reader import read_mat_columns
from analysis_lib.signals.parquet_reader import read_parquet_columns
from analysis_lib.signals.recorder import ColumnSource, RecorderSettings
from analysis_lib.signals.sample_checks import (
    FEWEST_SAMPLES,
    check_temperature,
    check_time,
    whole_samples,
)
from analysis_lib.signals.stored_columns import StoredColumns
from analysis_lib.signals.units import unit_factor

FloatArray = NDArray[np.float64]
WINDOW_TOLERANCE_S = 1.0  # a recording may end this much before end_s without a word


def read_canonical_columns(
    path: Path, settings: RecorderSettings, start_s: float | None = None, end_s: float | None = None
) -> tuple[dict[str, FloatArray], int, tuple[str, ...], tuple[str, ...]]:
    """Return the mapped columns of a trial in the library's units, its number of samples, what was assumed, and cautions.

    An encoder's angle is in turns; samples that lack a value are left out. Where a trial ends before its file does, it is
    no matter how the file ends.
    """
    stored = _read_columns(path, settings)
    columns = {
        name: _in_own_units(stored, settings.columns[name], name, path.name) for name in settings.columns
    }
    stored.values.clear()  # an hour at 1000 Hz is large: it is held only once
    trial, window_note = trial_samples(columns["time_s"], start_s, end_s, path.name)
    columns = {name: values[trial] for name, values in columns.items()}
    check_time(columns["time_s"], trial.start, stored, settings.columns["time_s"].column, path.name)
    columns, missing_note = _without_missing(columns, path.name)
    warm_note = _complete_temperature(columns, settings, path.name) if "temperature_C" in columns else ""
    broken_off = stored.broken_off if end_s is None or np.isnan(end_s) else ()
    return columns, trial.stop - trial.start, (window_note, missing_note, warm_note), broken_off


def _read_columns(path: Path, settings: RecorderSettings) -> StoredColumns:
    wanted = list(dict.fromkeys(source.column for source in settings.columns.values()))
    match settings.kind:
        case "csv":
            return read_csv_columns(path, wanted, settings.delimiter, settings.decimal)
        case "parquet":
            return read_parquet_columns(path, wanted)
        case "mat":
            return read_mat_columns(path, wanted)
        case "c3d":
            return read_c3d_columns(path, wanted)
        case "notifications":
            raise Refusal(path.name, "a log", "columns of samples", "declare another kind", "trial")


def _in_own_units(stored: StoredColumns, source: ColumnSource, name: str, file: str) -> FloatArray:
    factor = source.scale * unit_factor(name, source.unit, file)
    if name == "crank_deg":
        # The angle stays in turns while it is unwrapped, for whole turns are exact there.
        factor /= 2 * math.pi
    values = stored.values[source.column]
    return values if factor == 1 else values * factor


def trial_samples(
    time_s: FloatArray, start_s: float | None, end_s: float | None, file: str
) -> tuple[slice, str]:
    """Return the samples from the first at or after start_s to the last at or before end_s."""
    start = -math.inf if start_s is None or math.isnan(start_s) else start_s
    end = math.inf if end_s is None or math.isnan(end_s) else end_s
    if math.isinf(start) and math.isinf(end):
        return slice(0, time_s.size), ""
    inside = np.flatnonzero((time_s >= start) & (time_s <= end))
    if inside.size < FEWEST_SAMPLES:
        raise Refusal(
            what=f"{file}, from start_s = {start:g} to end_s = {end:g}",
            got=f"{inside.size} samples",
            wanted=f"at least {FEWEST_SAMPLES} of {np.nanmin(time_s):g} to {np.nanmax(time_s):g} s",
            remedy="correct start_s and end_s in trials.csv, which are in the recording's own time, or the unit of time_s",
            scope="trial",
        )
    trial = slice(int(inside[0]), int(inside[-1]) + 1)
    first, last = time_s[trial.start], time_s[trial.stop - 1]
    short = first > start + WINDOW_TOLERANCE_S > -math.inf or last < end - WINDOW_TOLERANCE_S < math.inf
    note = (
        f"The samples run from {first:.1f} to {last:.1f} s only, less than start_s to end_s." if short else ""
    )
    return trial, note


def _without_missing(columns: dict[str, FloatArray], file: str) -> tuple[dict[str, FloatArray], str]:
    needed = {name: values for name, values in columns.items() if name not in ("time_s", "temperature_C")}
    whole = whole_samples(needed, file)
    missing = int(np.count_nonzero(~whole))
    if not missing:
        return columns, ""
    note = f"{missing} samples lack an angle or a torque; they were left out as gaps in time."
    return {name: values[whole] for name, values in columns.items()}, note


def _complete_temperature(columns: dict[str, FloatArray], settings: RecorderSettings, file: str) -> str:
    """Fill the samples without a temperature along straight lines; refuse what no recorder can be as warm as."""
    warmth = columns["temperature_C"]
    known = np.isfinite(warmth)
    read = int(np.count_nonzero(known))
    if not read:
        del columns["temperature_C"]
        return "The column of temperature is empty; the recording counts as one without."
    check_temperature(warmth[known], settings.columns["temperature_C"], file)
    if read == warmth.size:
        return ""
    columns["temperature_C"] = np.interp(columns["time_s"], columns["time_s"][known], warmth[known])
    return f"Temperature was read at {read} of {warmth.size} samples and taken along straight lines between them."
