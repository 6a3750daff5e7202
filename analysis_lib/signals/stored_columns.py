"""Columns of numbers as a recorder stored them, before any unit is applied."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.signals.units import nearest

LARGEST_COLUMN = 50_000_000
"""Numbers: 13 hours at 1000 Hz, 400 MB in memory. A small file can announce, or unpack to, far more."""


@dataclass(frozen=True)
class StoredColumns:
    """What a reader hands over.

    Attributes
    ----------
    values : dict of str to array
        Stored numbers (float64) by the column's name in the file; NaN where a value is missing.
    row_name : callable
        Names a row, counted from 0, the way a person finds it in the file, e.g. ``"line 17"``.
    broken_off : tuple of str
        Says where the file breaks off, if it does.
    """

    values: dict[str, np.ndarray]
    row_name: Callable[[int], str]
    broken_off: tuple[str, ...] = ()


def check_file(path: Path) -> None:
    """Refuse a recording that is not there, is not a file, or holds nothing."""
    if not path.is_file():
        raise Refusal(
            what=path.name,
            got=_what_is_at(path),
            wanted="a recording",
            remedy="put the file there or correct the column 'file' of trials.csv",
            scope="trial",
        )
    if path.stat().st_size == 0:
        raise Refusal(
            what=path.name,
            got="an empty file",
            wanted="a recording with a header and samples",
            remedy="copy the file from the recorder again, or exclude the trial with its reason",
            scope="trial",
        )


def unreadable(file: str, kind: str, why: str) -> Refusal:
    """Return what is said of a recording whose bytes are no whole file of its kind."""
    return Refusal(
        what=file,
        got=f"no readable {kind} file ({why[:80]})",
        wanted=f"a whole {kind} file",
        remedy="copy the file from the recorder again, or correct the kind in study.toml",
        scope="trial",
    )


def _what_is_at(path: Path) -> str:
    if not path.exists():
        return "no such file"
    return "a folder" if path.is_dir() else "a device or a pipe"


def check_columns(file: str, found: Sequence[str], wanted: Sequence[str]) -> None:
    """Refuse a file in which a wanted column is missing or stands twice."""
    for column in wanted:
        times = list(found).count(column)
        if times == 1:
            continue
        raise Refusal(
            what=f"{file}, column {column!r}",
            got=f"{times} such columns" if times else f"no such column{nearest(column, found)}",
            wanted="one of the columns found: " + ", ".join(repr(name) for name in found),
            remedy="correct the column map in study.toml" + _delimiter_hint(found),
            scope="trial",
        )


def check_size(what: str, numbers: int) -> None:
    """Refuse a column that announces more numbers than any recording holds, before room is made for them."""
    if numbers > LARGEST_COLUMN:
        raise Refusal(
            what=what,
            got=f"{numbers} numbers",
            wanted=f"at most {LARGEST_COLUMN}",
            remedy="cut the recording into trials",
            scope="trial",
        )


def check_rows(file: str, rows: int) -> None:
    """Refuse a file that has a header and no sample."""
    if rows == 0:
        raise Refusal(
            what=file,
            got="a header and no samples",
            wanted="samples below the header",
            remedy="copy the file from the recorder again, or exclude the trial with its reason",
            scope="trial",
        )


def _delimiter_hint(found: Sequence[str]) -> str:
    if len(found) != 1:
        return ""
    for mark, written in ((";", ";"), ("\t", "\\t"), (",", ",")):
        if mark in found[0]:
            return f', or set delimiter = "{written}" there: the header is one piece'
    return ""
