"""One row of a table of a study folder, read cell by cell."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError

from analysis_lib.refusals import Refusal, Scope
from analysis_lib.study.declared.faults import Place, refusals_from
from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.schema import AsNumber, Number, TableRow, read_date_time
from analysis_lib.study.tables.derived_outcomes import GAS_COLUMNS
from analysis_lib.study.tables.rows import UNREAD, TableKind


def read_row(
    root: Path, line: int, cells: list[str], header: list[str], kind: TableKind, numbers: list[str]
) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Read one row, with its faults laid at the door of its trial or rider.

    Parameters
    ----------
    root : Path
        The study folder.
    line : int
        Of the file, as an editor counts.
    cells, header : list of str
        The row's cells and the names of the columns.
    kind : TableKind
    numbers : list of str
        Further columns that hold numbers.

    Returns
    -------
    tuple of dict and list of Problem
        The row without the cells at fault, or None where that is no row.
    """
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
        remedy = "look for a comma too many or too few; quote text that has commas"
        return None, [_laid_at(Refusal(place, got, wanted, remedy), kind, owner)]
    of_numbers = {name: _number_faults(name, given[name], f"{place}, column {name}") for name in numbers}
    row, faults = _validate_row(root, {name: cell or None for name, cell in given.items()}, kind, place)
    outcome_problems = [_laid_at(fault, kind, owner) for here in of_numbers.values() for fault in here]
    for problem in outcome_problems:
        problem.scope = "cell"  # what is made of that outcome goes without it, and nothing else
    problems = [*outcome_problems, *(_laid_at(fault, kind, owner) for fault in faults)]
    if row is None:
        return None, problems
    spare = {name: given[name] for name in header if name and name not in kind.row.model_fields}
    known = {name: given[name] and not here for name, here in of_numbers.items()}
    outcomes = {name: float(given[name]) if known[name] else math.nan for name in numbers}
    unread = {UNREAD: " ".join(name for name, here in of_numbers.items() if here)} if numbers else {}
    return {**row.model_dump(), **spare, **outcomes, **unread, "row": line}, problems


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


def _number_faults(column: str, cell: str, place: str) -> list[Refusal]:
    kind: type[TableRow] = _VolumeCell if column in GAS_COLUMNS else _NumberCell
    try:
        kind.model_validate({"value": cell or None})
    except ValidationError as error:
        return refusals_from(error, kind, lambda _: place)
    return []


class _NumberCell(TableRow):
    value: Number | None = Field(description="the value of an outcome, or an empty cell where it is missing")


class _VolumeCell(TableRow):
    value: Annotated[float, Field(gt=0, allow_inf_nan=False), AsNumber] | None = Field(
        description="a volume of gas in L/min, or an empty cell where it is missing"
    )


def _name_cell(place: str, loc: Place) -> str:
    column = next((str(part) for part in loc if isinstance(part, str)), "")
    return f"{place}, column {column}" if column else place


def _laid_at(fault: Refusal, kind: TableKind, owner: dict[str, Any]) -> Problem:
    scope: Scope = "trial" if kind.trial_column else "rider" if kind.rider_column else "study"
    laid = Problem(fault.what, fault.got, fault.wanted, fault.remedy, scope=scope, **owner)
    if kind.keeps_faulty_rows and laid.column in kind.row.model_fields and kind.may_be_empty(laid.column):
        laid.scope = "cell"  # what needs it is refused for want of it, and nothing else
    return laid


def _moment(cell: str | None) -> datetime | None:
    """Return the time of a row, or nothing where it cannot be read."""
    try:
        found = read_date_time(cell or None)
    except Refusal:
        return None
    return found if isinstance(found, datetime) else None
