"""A recording of crank angle and torque, in the library's own units."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle import check_travel, unwrap_turns
from analysis_lib.signals.c3d_reader import read_c3d_columns
from analysis_lib.signals.csv_reader import read_csv_columns
from analysis_lib.signals.mat_reader import read_mat_columns
from analysis_lib.signals.parquet_reader import read_parquet_columns
from analysis_lib.signals.recorder import CHANNEL_BY_COLUMN, ColumnSource, RecorderSettings, layout_of
from analysis_lib.signals.sample_checks import (
    FEWEST_SAMPLES,
    check_time,
    legs_agreeing_with_total,
    whole_samples,
)
from analysis_lib.signals.saturation import saturated_samples
from analysis_lib.signals.stored_columns import StoredColumns
from analysis_lib.signals.units import unit_factor

__all__ = ["ColumnSource", "RecorderSettings", "Recording", "read_recording"]

FloatArray = NDArray[np.float64]
WINDOW_TOLERANCE_S = 1.0  # a recording may end this much before end_s without a word


@dataclass(frozen=True)
class Recording:
    """Crank angle and torque against time.

    Attributes
    ----------
    time_s : array of shape (samples,)
        Strictly increasing, s.
    crank_rad : array of shape (samples,)
        Angle of the RIGHT crank, rad from its top dead centre, unwrapped, growing as the rider pedals.
    torque : dict of str to array of shape (samples,)
        N m by channel: "left" and "right", or "total", or one leg.
    layout : str
        "two legs", "total only", "left only" or "right only"; follows from the channels when left empty.
    name : str
        For messages.
    temperature_C : array of shape (samples,), optional
    saturated : dict of str to array
        By channel, the indices of the samples at which it could tell nothing more.
    missing_samples : int
        Samples left out because an angle or a torque was missing; they are gaps in time.
    assumptions : tuple of str
        Sentences that a reader of any result must know.
    """

    time_s: FloatArray
    crank_rad: FloatArray
    torque: dict[str, FloatArray]
    layout: str = ""
    name: str = ""
    temperature_C: FloatArray | None = None
    saturated: dict[str, NDArray[np.intp]] = field(default_factory=dict)
    missing_samples: int = 0
    assumptions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "layout", layout_of(tuple(self.torque), self.layout))
        for channel, values in {"crank_rad": self.crank_rad, **self.torque}.items():
            if np.shape(values) != np.shape(self.time_s):
                raise Refusal(
                    what=f"recording {self.name or 'without a name'}, {channel}",
                    got=f"{np.size(values)} samples",
                    wanted=f"{np.size(self.time_s)}, as many as time_s",
                    remedy="give every channel a value at every time",
                    scope="trial",
                )

    @property
    def duration_s(self) -> float:
        """Time from the first sample to the last, s."""
        return float(self.time_s[-1] - self.time_s[0])


def read_recording(
    path: str | Path, settings: RecorderSettings, start_s: float | None = None, end_s: float | None = None
) -> Recording:
    """Read a recording and bring it to canonical channels and units.

    Parameters
    ----------
    path : str or Path
        The file; only the mapped columns are read.
    settings : RecorderSettings
        How the recorder writes.
    start_s, end_s : float, optional
        The part of the file that is the trial, in the file's own time, both ends included.

    Returns
    -------
    Recording
        The left crank's angle becomes the right crank's by half a turn. Samples without an angle or a torque
        are left out and counted. Where both legs and their total were recorded, the legs are kept.

    Raises
    ------
    Refusal
        One clear fault of the file: missing, empty, a column or number that is not there, time that does not
        grow, too few samples, an angle that contradicts its unit, legs that contradict the total.
    """
    path = Path(path)
    stored = _read_columns(path, settings)
    columns = {
        name: _in_own_units(stored, settings.columns[name], name, path.name) for name in settings.columns
    }
    stored.values.clear()  # an hour at 1000 Hz is large: it is held only once
    trial, window_note = _trial_samples(columns["time_s"], start_s, end_s, path.name)
    columns = {name: values[trial] for name, values in columns.items()}
    time_column = settings.columns["time_s"].column
    check_time(columns["time_s"], trial.start, stored, time_column, path.name)
    columns, missing_note = _without_missing(columns, path.name)
    time_s, temperature = columns.pop("time_s"), columns.pop("temperature_C", None)
    crank_rad = _right_crank(columns.pop("crank_deg"), time_s, settings, path.name)
    torque, total_note = {CHANNEL_BY_COLUMN[name]: values for name, values in columns.items()}, ""
    if len(torque) == 3:
        torque, total_note = legs_agreeing_with_total(torque, path.name)
    return Recording(
        time_s=time_s,
        crank_rad=crank_rad,
        torque=torque,
        name=path.name,
        temperature_C=temperature,
        saturated={
            channel: saturated_samples(values, settings.full_scale_Nm) for channel, values in torque.items()
        },
        missing_samples=trial.stop - trial.start - time_s.size,
        assumptions=tuple(filter(None, (*stored.notes, window_note, missing_note, total_note))),
    )


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


def _in_own_units(stored: StoredColumns, source: ColumnSource, name: str, file: str) -> FloatArray:
    factor = source.scale * unit_factor(name, source.unit, file)
    if name == "crank_deg":
        factor /= (
            2 * math.pi
        )  # the angle stays in turns while it is unwrapped, for whole turns are exact there
    values = stored.values[source.column]
    return values if factor == 1 else values * factor


def _trial_samples(
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
            remedy="correct start_s and end_s in trials.csv; they are in the recording's own time",
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


def _right_crank(
    stored_turns: FloatArray, time_s: FloatArray, settings: RecorderSettings, file: str
) -> FloatArray:
    turns = unwrap_turns(stored_turns.copy(), time_s)
    check_travel(stored_turns, turns, time_s, file, settings.columns["crank_deg"].unit)
    if settings.crank_side == "left":
        turns += 0.5
    turns *= 2 * math.pi
    return turns
