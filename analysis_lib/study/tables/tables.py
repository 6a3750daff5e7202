"""The tables of a study folder, read with every bad cell named."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from pydantic import Field, ValidationError

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.declared.faults import Place, refusals_from
from analysis_lib.study.declared.problems import Problem, listed, nearest_of, rename
from analysis_lib.study.declared.schema import Number, TableRow, is_inside, read_date_time
from analysis_lib.study.tables.rows import TableKind

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
        One for every bad cell or row, and a note for every column that nothing uses.
    listed_ids : frozenset of str
        Ids in the first column, also of rows that cannot be used.
    """

    frame: pd.DataFrame
    problems: list[Problem]
    listed_ids: frozenset[str]


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
    columns: dict[str, list[Any]] = {name: [] for name in [*filter(None, header), "row"]}
    problems = _note_unused(header, kind, numbers)
    first, ids = header.index(kind.columns[0]), set()
    for line, cells in lines:
        row, faults = _read_row(root, line, cells, header, kind, numbers)
        problems += faults
        ids |= {cells[first]} if len(cells) == len(header) else set()
        if row:
            for name, values in columns.items():
                values.append(row[name])
    return Table(_as_frame(columns, kind, numbers), problems, frozenset(ids))


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


def _read_row(
    root: Path, line: int, cells: list[str], header: list[str], kind: TableKind, numbers: list[str]
) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Read one row; its faults are laid at the door of its trial or rider, and leave it out as a rule."""
    given = dict(zip(header, cells, strict=False))
    owner = {
        "trial": given.get(kind.trial_column, ""),
        "rider": given.get(kind.rider_column, ""),
        "recorder": given.get(kind.recorder_column, ""),
        "moment": _moment(given.get(kind.moment_column)),
    }
    name = owner["trial"] or owner["rider"]
    place = f"{kind.file}, row {line}" + (f" ({name})" if name else "")
    if len(cells) != len(header):
        got, wanted = f"{len(cells)} cells", f"{len(header)} cells, as in the header"
        faults = [
            Refusal(place, got, wanted, "look for a comma too many or too few; quote text that has commas")
        ]
        return None, [_laid_at(fault, kind, owner) for fault in faults]
    faults = [fault for name in numbers for fault in _number_faults(given[name], f"{place}, column {name}")]
    row, row_faults = _validate_row(root, {name: cell or None for name, cell in given.items()}, kind, place)
    problems = [_laid_at(fault, kind, owner) for fault in faults + row_faults]
    if row is None or (problems and not kind.keeps_faulty_rows):
        return None, problems
    spare = {name: given[name] for name in header if name and name not in kind.row.model_fields}
    outcomes = {name: float(given[name]) if given[name] else float("nan") for name in numbers}
    return {**row.model_dump(), **spare, **outcomes, "row": line}, problems


def _validate_row(
    root: Path, given: dict[str, str | None], kind: TableKind, place: str
) -> tuple[TableRow | None, list[Refusal]]:
    """Check the cells of a row; with faults, give the row without the cells at fault, where that is a row.

    An empty cell is an absent value; a row that is not there is another matter and is looked for elsewhere.
    """
    try:
        return kind.row.model_validate(given, context={"root": root}), []
    except ValidationError as error:
        faults = refusals_from(error, kind.row, lambda loc: _name_cell(place, loc))
        faulty = {str(fault["loc"][0]) for fault in error.errors() if fault["loc"]}
    without = {name: None if name in faulty else cell for name, cell in given.items()}
    return (_validate_row(root, without, kind, place)[0] if without != given else None), faults


def _number_faults(cell: str, place: str) -> list[Refusal]:
    try:
        _NumberCell.model_validate({"value": cell or None})
    except ValidationError as error:
        return refusals_from(error, _NumberCell, lambda _: place)
    return []


class _NumberCell(TableRow):
    value: Number | None = Field(description="a number, or an empty cell where it is missing")


def _name_cell(place: str, loc: Place) -> str:
    column = next((str(part) for part in loc if isinstance(part, str)), "")
    return f"{place}, column {column}" if column else place


def _laid_at(fault: Refusal, kind: TableKind, owner: dict[str, Any]) -> Problem:
    scope = "trial" if kind.trial_column else "rider" if kind.rider_column else "study"
    return Problem(fault.what, fault.got, fault.wanted, fault.remedy, scope=scope, **owner)  # type: ignore[arg-type]


def _moment(cell: str | None) -> datetime | None:
    """Return the time of a row, or nothing where it cannot be read."""
    try:
        found = read_date_time(cell or None)
    except Refusal:
        return None
    return found if isinstance(found, datetime) else None


def _as_frame(columns: dict[str, list[Any]], kind: TableKind, numbers: list[str]) -> pd.DataFrame:
    types = {name: _FRAME_TYPES[kind.column_type(name)] for name in kind.known_columns if name in columns}
    types |= dict.fromkeys(numbers, "float64") | {"row": "int64"}
    frame = pd.DataFrame(columns, dtype=object)
    words = [name for name in columns if types.get(name, "str") == "str"]
    frame[words] = frame[words].fillna("")
    return frame.astype({name: types.get(name, "str") for name in columns})
