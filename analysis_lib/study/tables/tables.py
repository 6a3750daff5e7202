"""The tables of a study folder, read with every bad cell named."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.declared.problems import Problem, listed, nearest_of, rename
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.tables.row_reading import read_row
from analysis_lib.study.tables.rows import UNREAD, TableKind

#: The data frame's type for each type of column. Absent text is "", an absent number NaN or <NA>.
_FRAME_TYPES = {
    "string": "str",
    "integer": "Int64",
    "number": "float64",
    "boolean": "bool",
    "datetime": "datetime64[us]",
}


MOST_COLUMNS = 1000
"""More are no table of a study, and each would be a note of its own."""


@dataclass(frozen=True)
class Table:
    """A table as read.

    Attributes
    ----------
    frame : DataFrame
        The rows that can be used, with proper types and a column `row`: the line of the file as an editor
        counts it.
    problems : list of Problem
        One for every bad cell or row, and a note for every column that nothing uses. A bad cell of `number_columns` is
        taken as not known, is named in the row's `unread_cells`, and costs the row nothing else.
    listed_ids : frozenset of str
        Ids in the first column, also of rows that cannot be used.
    set_aside : DataFrame
        The rows that cannot be used for a cell at fault, as in `frame` but without that cell.
    """

    frame: pd.DataFrame
    problems: list[Problem]
    listed_ids: frozenset[str]
    set_aside: pd.DataFrame


def read_table(root: Path, kind: TableKind, number_columns: tuple[str, ...] = ()) -> Table:
    """Read one table of a study folder.

    Parameters
    ----------
    root : Path
        The study folder.
    kind : TableKind
        RIDERS, TRIALS or ZERO_CHECKS.
    number_columns : tuple of str
        Further columns that hold numbers, such as declared outcomes; an empty cell is a missing value (NaN).
        Columns beyond these are kept as text.

    Returns
    -------
    Table

    Raises
    ------
    Refusals
        When the table as a whole cannot be used: no file, not UTF-8, no comma between cells, a column
        missing.
    """
    lines = _lines_of(_read_text(root, kind), kind)
    _, header = next(lines)
    _check_header(header, kind)
    numbers = [name for name in header if name in number_columns]
    names = [*filter(None, header), *([UNREAD] if numbers else []), "row"]
    kept: dict[str, list[Any]] = {name: [] for name in names}
    set_aside: dict[str, list[Any]] = {name: [] for name in names}
    problems = _note_unused(header, kind, numbers)
    first, ids = header.index(kind.columns[0]), set()
    for line, cells in lines:
        row, faults = read_row(root, line, cells, header, kind, numbers)
        problems += faults
        ids |= {cells[first]} if len(cells) == len(header) else set()
        if row:
            stops_row = any(fault.scope != "cell" for fault in faults) and not kind.keeps_faulty_rows
            columns = set_aside if stops_row else kept
            for name, values in columns.items():
                values.append(row[name])
    frames = (_as_frame(columns, kind, numbers) for columns in (kept, set_aside))
    return Table(next(frames), problems, frozenset(ids), next(frames))


def _read_text(root: Path, kind: TableKind) -> str:
    path = root / kind.file
    if not path.is_file():
        remedy = "add it; roundoval new DIR writes one with the right columns"
        raise Refusals([Refusal(kind.file, "no such file", "the table in the study folder", remedy)])
    if not is_inside(root, path):
        raise Refusals(
            [Refusal(kind.file, "a link out of the folder", "a file", "put the file itself there")]
        )
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        remedy = "save the sheet as CSV with the encoding UTF-8"
        raise Refusals([Refusal(kind.file, "text that is not UTF-8", "UTF-8", remedy)]) from error


def _lines_of(text: str, kind: TableKind) -> Iterator[tuple[int, list[str]]]:
    """Go through a table, its header first, as (line, cells); a line without any cell filled is no row."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    last_line, is_empty = 0, True
    try:
        for cells in reader:
            if filled := any(stripped := [cell.strip() for cell in cells]):
                yield last_line + 1, stripped
            last_line, is_empty = reader.line_num, is_empty and not filled
    except csv.Error as error:
        got = f"{error} in line {last_line + 1}"
        raise Refusals(
            [Refusal(kind.file, got, "a comma-separated table", "look for a stray quotation mark")]
        ) from error
    if is_empty:
        raise Refusals(
            [Refusal(kind.file, "an empty file", "a header row", f"start with: {','.join(kind.columns)}")]
        )


def _check_header(header: list[str], kind: TableKind) -> None:
    if len(header) > MOST_COLUMNS:
        got, wanted = f"{len(header)} columns", f"at most {MOST_COLUMNS}"
        raise Refusals([Refusal(f"{kind.file}, row 1", got, wanted, "keep samples in files of their own")])
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        mark = "semicolons" if ";" in header[0] else "tabs"
        remedy = "save the sheet again, comma-separated and with decimal points"
        raise Refusals(
            [Refusal(f"{kind.file}, row 1", f"cells parted by {mark}", "cells parted by commas", remedy)]
        )
    place = f"{kind.file}, row 1"
    faults = []
    for name in kind.columns:
        if name not in header:
            spare = [column for column in header if column and column not in kind.known_columns]
            remedy = rename(
                name, spare, "add the column; its cells may stay empty where the value is unknown"
            )
            faults.append(
                Refusal(place, f"no column {name!r}", f"the columns {listed(kind.columns)}", remedy)
            )
    twice = sorted({name for name in header if name and header.count(name) > 1})
    faults += [Refusal(place, f"column {name!r} twice", "each column once", "rename one") for name in twice]
    if faults:
        raise Refusals(faults)


def _note_unused(header: list[str], kind: TableKind, numbers: list[str]) -> list[Problem]:
    unused = [name for name in header if name and name not in kind.known_columns and name not in numbers]
    absent = [name for name in kind.known_columns if name not in header]
    return [
        Problem(
            f"{kind.file}, row 1, column {name}",
            "a column that nothing uses",
            "columns of the table and declared outcomes",
            _unused_remedy(name, absent),
            severity="note",
        )
        for name in unused
    ]


def _unused_remedy(name: str, absent: list[str]) -> str:
    otherwise = "leave it, or declare it as an outcome in study.toml"
    near = nearest_of(name, absent)
    return f"rename {name!r} to {near!r} if that is meant; otherwise {otherwise}" if near else otherwise


def _as_frame(columns: dict[str, list[Any]], kind: TableKind, numbers: list[str]) -> pd.DataFrame:
    types = {name: _FRAME_TYPES[kind.column_type(name)] for name in kind.known_columns if name in columns}
    types |= dict.fromkeys(numbers, "float64") | {"row": "int64"}
    frame = pd.DataFrame(columns, dtype=object)
    words = [name for name in columns if types.get(name, "str") == "str"]
    frame[words] = frame[words].fillna("")
    return frame.astype({name: types.get(name, "str") for name in columns})
