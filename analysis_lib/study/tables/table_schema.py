"""What a Table Schema demands of a column, checked cell by cell.

Table Schema version 2 (datapackage.org/standard/table-schema): types with their default format, missing values, and the
constraints required, unique, minimum, maximum, exclusiveMinimum, exclusiveMaximum, minLength, maxLength and enum. A
pattern is not checked: a stranger's regular expression can be made to run for ever. What is not checked is said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

TRUE, FALSE = ("true", "True", "TRUE", "1"), ("false", "False", "FALSE", "0")
BOUNDS: dict[str, tuple[Callable[[Any, Any], bool], str]] = {
    "minimum": (lambda value, bound: value >= bound, "at least"),
    "maximum": (lambda value, bound: value <= bound, "at most"),
    "exclusiveMinimum": (lambda value, bound: value > bound, "more than"),
    "exclusiveMaximum": (lambda value, bound: value < bound, "less than"),
}
LENGTHS = {"minLength": BOUNDS["minimum"], "maxLength": BOUNDS["maximum"]}
CHECKED_CONSTRAINTS = {"required", "unique", "enum", *BOUNDS, *LENGTHS}
INERT = {"name", "type", "title", "description", "example", "unit", "rdfType", "constraints", "missingValues"}
"""Properties of a field that demand nothing of a cell, or that are read here."""


@dataclass(frozen=True)
class CellFault:
    """A cell that is not what its column's schema says: which row of those given, what it holds, what is wanted."""

    position: int
    got: str
    wanted: str


def unchecked_parts(field: Mapping[str, Any]) -> list[str]:
    """Return the demands of a field that are not checked here.

    >>> unchecked_parts({"name": "x", "type": "string", "constraints": {"pattern": "a+", "required": True}})
    ['pattern']
    """
    kind = field.get("type", "string")
    unknown = [] if kind in _READERS else [f"type {kind}"]
    properties = set(field) - INERT - ({"trueValues", "falseValues"} if kind == "boolean" else set())
    properties -= {"format"} if field.get("format", "default") == "default" else set()
    return [*unknown, *sorted(properties), *sorted(set(field.get("constraints", {})) - CHECKED_CONSTRAINTS)]


def column_faults(
    cells: Sequence[str], field: Mapping[str, Any], missing: Sequence[str] = ("",)
) -> Iterator[CellFault]:
    """Find the cells of a column that its schema does not allow.

    Parameters
    ----------
    cells : sequence of str
        The column as text.
    field : mapping
        The field's descriptor.
    missing : sequence of str
        Texts that mean a missing value; the field's own come first.

    Examples
    --------
    >>> field = {"name": "saddle_mm", "type": "integer", "constraints": {"minimum": 500, "required": True}}
    >>> [(fault.position, fault.wanted) for fault in column_faults(["720", "", "7.2", "300"], field)]
    [(1, 'a value'), (2, 'an integer'), (3, 'at least 500')]
    """
    read = _READERS.get(field.get("type", "string"), lambda cell, field: cell)
    constraints = field.get("constraints", {})
    missing = field.get("missingValues", missing)
    seen: set[Any] = set()
    for position, cell in enumerate(cells):
        if cell in missing:
            if constraints.get("required"):
                yield CellFault(position, "an empty cell", "a value")
            continue
        try:
            value = read(cell, field)
        except ValueError as error:
            yield CellFault(position, repr(cell), str(error))
            continue
        if constraints.get("unique") and value in seen:
            yield CellFault(position, f"{cell!r} twice", "each value once")
        seen.add(value)
        if wanted := _unmet(value, cell, constraints, lambda bound: read(str(bound), field)):
            yield CellFault(position, repr(cell), wanted)


def _unmet(value: Any, cell: str, constraints: Mapping[str, Any], read: Callable[[Any], Any]) -> str:
    """Return what a value fails to meet, or ""."""
    for name, (holds, words) in BOUNDS.items():
        if name in constraints and not holds(value, read(constraints[name])):
            return f"{words} {constraints[name]}"
    for name, (holds, words) in LENGTHS.items():
        if name in constraints and not holds(len(cell), constraints[name]):
            return f"{words} {constraints[name]} characters"
    allowed = constraints.get("enum", [cell])
    if cell not in map(str, allowed) and value not in allowed:
        return "one of " + ", ".join(map(str, allowed))
    return ""


def _integer(cell: str, field: Mapping[str, Any]) -> int:
    if not re.fullmatch(r"[+-]?\d+", cell, re.ASCII):
        raise ValueError("an integer")
    return int(cell)


def _number(cell: str, field: Mapping[str, Any]) -> float:
    try:
        value = float(cell)
    except ValueError:
        raise ValueError("a number with a decimal point") from None
    if math.isinf(value) or "_" in cell:
        raise ValueError("a finite number")
    return value


def _boolean(cell: str, field: Mapping[str, Any]) -> bool:
    true, false = field.get("trueValues", TRUE), field.get("falseValues", FALSE)
    if cell not in (*true, *false):
        raise ValueError("one of " + ", ".join([*true, *false]))
    return cell in true


def _moment(kind: type[date], words: str) -> Callable[[str, Mapping[str, Any]], date]:
    def read(cell: str, field: Mapping[str, Any]) -> date:
        try:
            return kind.fromisoformat(cell)
        except ValueError:
            raise ValueError(words) from None

    return read


_READERS: dict[str, Callable[[str, Mapping[str, Any]], Any]] = {
    "string": lambda cell, field: cell,
    "any": lambda cell, field: cell,
    "integer": _integer,
    "number": _number,
    "boolean": _boolean,
    "date": _moment(date, "a date such as 2026-03-02"),
    "datetime": _moment(datetime, "a date and time such as 2026-03-02T09:14:00"),
}
