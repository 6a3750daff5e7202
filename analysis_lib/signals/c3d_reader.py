"""Read analogue channels and markers of a C3D file as columns."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.c3d_file import MOST_FRAMES, C3dFile, DamagedC3d, open_c3d
from analysis_lib.signals.stored_columns import (
    StoredColumns,
    check_columns,
    check_file,
    check_rows,
    check_size,
    unreadable,
)

FloatArray = NDArray[np.float64]
SAMPLE_TIME = "sample time"
AXES = ("x", "y", "z")


def read_c3d_columns(path: Path, wanted: Sequence[str]) -> StoredColumns:
    """Read analogue channels and coordinates of markers of a C3D file.

    Parameters
    ----------
    path : Path
        The file; its frames are mapped into memory and only what is wanted is read.
    wanted : sequence of str
        Labels of analogue channels (ANALOG:LABELS); coordinates of markers as ``"LABEL.x"``, ``"LABEL.y"`` and
        ``"LABEL.z"`` (POINT:LABELS); and ``"sample time"`` for the time in seconds, which a C3D file does not store:
        sample number over the analogue rate, or over the frame rate where there is no channel.

    Returns
    -------
    StoredColumns
        In the units of the file, scales and offsets applied; rows are counted from 1. Markers are carried from frames to
        analogue samples along straight lines; one that was not seen in a frame has no value around it.

    Raises
    ------
    Refusal
        Missing, empty, cut or damaged file; a file of more frames than it counts; a missing channel or marker.
    """
    check_file(path)
    try:
        file = open_c3d(path)
    except (DamagedC3d, struct.error, IndexError, ValueError) as error:
        raise unreadable(path.name, "C3D", str(error)) from error
    _check_all_frames(file, path)
    channels = file.labels("ANALOG", file.analogue.shape[2])
    markers = file.labels("POINT", file.points.shape[1])
    known = [SAMPLE_TIME, *channels, *(f"{marker}.{axis}" for marker in markers for axis in AXES)]
    check_columns(path.name, known, wanted)
    check_size(path.name, file.analogue.shape[0] * max(file.analogue.shape[1], 1))
    times = _sample_times(file)
    check_rows(path.name, times.size)
    columns = {}
    for name in wanted:
        if name == SAMPLE_TIME:
            columns[name] = times
        elif name in channels:
            columns[name] = _channel(file, channels.index(name))
        else:
            marker, _, axis = name.rpartition(".")
            columns[name] = _coordinate(file, markers.index(marker), AXES.index(axis), times)
    return StoredColumns(columns, lambda row: f"sample {row + 1}")


def _check_all_frames(file: C3dFile, path: Path) -> None:
    if not file.is_cut:
        return
    raise Refusal(
        what=path.name,
        got=f"{MOST_FRAMES} frames, the most that its header can count, and more after them",
        wanted="a file that counts all its frames",
        remedy="export it with more analogue samples a frame, or as CSV, or cut it into trials",
        scope="trial",
    )


def _sample_times(file: C3dFile) -> FloatArray:
    frames, samples, channels = file.analogue.shape
    samples = samples if channels else 1
    return np.arange(frames * samples) / (file.frame_rate_hz * samples)


def _channel(file: C3dFile, place: int) -> FloatArray:
    """(stored − OFFSET) · SCALE · GEN_SCALE of one channel."""
    count = file.analogue.shape[2]
    stored = np.asarray(file.analogue[:, :, place], dtype=float).ravel()
    offset = file.numbers("ANALOG:OFFSET", count, 0.0)[place]
    if file.analogue.dtype.kind == "u":
        offset %= 65536
    scale = file.numbers("ANALOG:SCALE", count, 1.0)[place] * file.numbers("ANALOG:GEN_SCALE", 1, 1.0)[0]
    return (stored - offset) * scale


def _coordinate(file: C3dFile, place: int, axis: int, times: FloatArray) -> FloatArray:
    """One coordinate of a marker at the analogue samples; a negative residual says that the marker was not seen."""
    stored = file.points[:, place, :]
    if stored.dtype.kind == "u":
        stored = stored.view(stored.dtype.str.replace("u", "i"))
    scale = 1.0 if stored.dtype.kind == "f" else file.numbers("POINT:SCALE", 1, 1.0)[0]
    seen = np.where(stored[:, 3] < 0, np.nan, np.asarray(stored[:, axis], dtype=float) * scale)
    return np.interp(times, np.arange(seen.size) / file.frame_rate_hz, seen)
