"""A log of Cycling Power notifications: one line a message, with its time, its characteristic and its bytes."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise
from pathlib import Path
from typing import Literal, TextIO

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.counters import (
    CRANK_TIME_ROLL_S,
    CRANK_TURNS_ROLL,
    ROLL_BY_FIELD,
    run_on,
    time_of_turns,
    unwrap_starts,
)
from analysis_lib.signals.cycling_power import (
    PowerMeasurement,
    PowerVector,
    decode_measurement,
    decode_vector,
)
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.stored_columns import check_columns, check_file, check_rows

FloatArray = NDArray[np.float64]
MEASUREMENT, VECTOR = "2A63", "2A64"
SPACING_WARNING = (
    "The samples of a vector message carry no angle and no time of their own: they were spaced evenly in angle "
    "between the first angles of neighbouring messages, and timed at a constant crank speed within each turn. An "
    "oval ring breaks both; do not judge a ring, a torque phase or a mount by this recording."
)


@dataclass(frozen=True)
class NotificationLog:
    """Messages of one log, decoded.

    Attributes
    ----------
    name : str
    measurement_times_s, vector_times_s : arrays
        When each message was received, s.
    measurements : tuple of PowerMeasurement
    vectors : tuple of PowerVector
    """

    name: str
    measurement_times_s: FloatArray
    measurements: tuple[PowerMeasurement, ...]
    vector_times_s: FloatArray
    vectors: tuple[PowerVector, ...]

    def measurement_table(self) -> pd.DataFrame:
        """Return one row a measurement: ``received_s`` and its fields, counters running on past their roll-overs.

        A counter may roll over once between two messages that carry it; after a longer silence it cannot be
        told how often it did.
        """
        columns = {
            field.name: [getattr(m, field.name) for m in self.measurements]
            for field in fields(PowerMeasurement)
        }
        table = pd.DataFrame({"received_s": self.measurement_times_s, **columns})
        for name, roll in ROLL_BY_FIELD.items():
            table[name] = run_on(table[name].to_numpy(dtype=float, na_value=np.nan), roll)
        return table

    def recording(
        self,
        channel: Literal["left", "right", "total"],
        spacing: Literal["even angle"],
        crank_length_m: float | None = None,
    ) -> Recording:
        """Reconstruct a recording from vector messages; `spacing` must be asked for, for it is an assumption.

        Parameters
        ----------
        channel : {"left", "right", "total"}
            Whose torque the vectors hold; a left channel's angle is the left crank's.
        spacing : {"even angle"}
            How samples are placed between messages; see the recording's assumptions.
        crank_length_m : float, optional
            Needed for vectors of tangential force.

        Raises
        ------
        Refusal
            Vectors without turns, time, first angle or samples; radial or lateral ones; force without a crank
            length; fewer than three messages.
        """
        _check_choice("spacing", spacing, ("even angle",))
        _check_choice("channel", channel, ("left", "right", "total"))
        samples = [_torque_samples(vector, crank_length_m, self.name) for vector in self.vectors]
        turns, times, first_deg = (
            np.array([getattr(vector, part) for vector in self.vectors], dtype=float)
            for part in ("crank_turns", "crank_time_s", "first_angle_deg")
        )
        if len(samples) < 3 or np.isnan(turns + times + first_deg).any():
            raise self._refusal("vectors without crank turns, time or first angle, or fewer than three")
        turns, times = run_on(turns, CRANK_TURNS_ROLL), run_on(times, CRANK_TIME_ROLL_S)
        starts = unwrap_starts(first_deg / 360, turns)
        counts = [part.size for part in samples[:-1]]
        angle = np.concatenate(
            [
                np.linspace(low, high, n, endpoint=False)
                for (low, high), n in zip(pairwise(starts), counts, strict=True)
            ]
        )
        clock = time_of_turns(angle, turns, times, starts)
        crank = 2 * math.pi * (angle + (0.5 if channel == "left" else 0.0))
        inside = np.isfinite(clock)
        torque = np.concatenate(samples[:-1])[inside]
        return Recording(
            clock[inside], crank[inside], {channel: torque}, name=self.name, assumptions=(SPACING_WARNING,)
        )

    def _refusal(self, got: str) -> Refusal:
        return Refusal(
            what=self.name,
            got=got,
            wanted="Cycling Power Vectors with crank turns, their time, a first angle and samples",
            remedy="switch these fields on before logging; a power measurement alone holds no torque profile",
            scope="trial",
        )


def read_notification_log(
    path: str | Path, time_column: str, characteristic_column: str, bytes_column: str
) -> NotificationLog:
    """Read a CSV log of notifications.

    Parameters
    ----------
    path : str or Path
        UTF-8 CSV with a header; messages of other characteristics than 2A63 and 2A64 are passed over.
    time_column, characteristic_column, bytes_column : str
        Names of the columns that hold the time received (s), the characteristic's number (hexadecimal), and the
        message (hexadecimal, with or without spaces).

    Raises
    ------
    Refusal
        A missing file or column, and the first line that does not hold a time and a whole message.
    """
    path = Path(path)
    check_file(path)
    names = (time_column, characteristic_column, bytes_column)
    measurements: list[tuple[float, PowerMeasurement]] = []
    vectors: list[tuple[float, PowerVector]] = []
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        for line, row in _lines_of(file, path.name, names):
            received, number, message = _message(row, names, f"{path.name}, line {line}")
            if number == MEASUREMENT:
                measurements.append((received, _decode(decode_measurement, message, path.name, line)))
            elif number == VECTOR:
                vectors.append((received, _decode(decode_vector, message, path.name, line)))
    check_rows(path.name, len(measurements) + len(vectors))
    return NotificationLog(
        path.name,
        np.array([time for time, _ in measurements]),
        tuple(message for _, message in measurements),
        np.array([time for time, _ in vectors]),
        tuple(message for _, message in vectors),
    )


def _lines_of(file: TextIO, name: str, columns: Sequence[str]) -> Iterator[tuple[int, dict]]:
    """Go through the rows of a log, each with the number of its line."""
    rows = csv.DictReader(file)
    try:
        check_columns(name, list(rows.fieldnames or []), columns)
        for row in rows:
            yield rows.line_num, row
    except csv.Error as error:  # a field of more than 131072 characters, for one
        raise Refusal(
            what=f"{name}, line {rows.line_num + 1}",
            got=str(error),
            wanted="a comma-separated log, one line a message",
            remedy="copy the log from the recorder again, or correct the kind in study.toml",
            scope="trial",
        ) from error


def _message(row: dict, names: tuple[str, str, str], where: str) -> tuple[float, str, bytes]:
    texts = [(row.get(name) or "").strip() for name in names]
    try:
        return float(texts[0]), texts[1].upper().removeprefix("0X"), bytes.fromhex(texts[2])
    except ValueError as error:
        raise Refusal(
            what=where,
            got=", ".join(repr(text[:40]) for text in texts),
            wanted="a time in s, a characteristic such as 2A64, and bytes in hexadecimal",
            remedy="leave out the line, or map other columns",
            scope="trial",
        ) from error


def _decode(decode, message: bytes, file: str, line: int):
    try:
        return decode(message)
    except Refusal as refusal:
        refusal.what = f"{file}, line {line}, {refusal.what}"
        raise


def _torque_samples(vector: PowerVector, crank_length_m: float | None, name: str) -> FloatArray:
    if vector.torque_Nm:
        return np.array(vector.torque_Nm)
    if vector.force_N and vector.direction == "tangential" and crank_length_m is not None:
        return np.array(vector.force_N) * crank_length_m
    got = f"{vector.direction} force" if vector.force_N else "a vector without samples"
    raise Refusal(
        what=name,
        got=got + ("" if crank_length_m else " and no crank length"),
        wanted="torque, or tangential force and the crank length in metres",
        remedy="log the torque, or give crank_length_m",
        scope="trial",
    )


def _check_choice(what: str, got: str, known: tuple[str, ...]) -> None:
    if got not in known:
        wanted = "one of " + ", ".join(repr(name) for name in known)
        raise Refusal(f"{what} of a notification log", repr(got), wanted, "state one of these", "trial")
