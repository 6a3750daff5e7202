"""The parameters of a notebook, checked before any kernel starts."""

from __future__ import annotations

import ast
import difflib
import json
from pathlib import Path

from analysis_lib.refusals import Refusal

Scalar = str | int | float | bool


def declared_parameters(notebook: Path) -> dict[str, Scalar]:
    """Return the names and default values in the cell tagged ``parameters``.

    Only plain assignments of plain scalars are read; the cell is parsed, never executed.
    """
    for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
        if "parameters" in cell["metadata"].get("tags", []):
            source = "".join(cell["source"])  # one text, or its lines
            return dict(_read_assignment(notebook, line) for line in ast.parse(source).body)
    return {}


def _read_assignment(notebook: Path, line: ast.stmt) -> tuple[str, Scalar]:
    if isinstance(line, ast.Assign) and isinstance(line.targets[0], ast.Name):
        try:
            return line.targets[0].id, ast.literal_eval(line.value)
        except ValueError:
            pass
    raise Refusal(
        f"notebook {notebook.name}, parameters cell",
        ast.unparse(line),
        "plain assignments of a text, number or truth value",
        "move everything that must be computed to the next cell",
    )


def check_parameters(notebook: Path, given: dict[str, object]) -> None:
    """Refuse a parameter that the notebook does not declare, or whose value is not a scalar of its kind."""
    declared = declared_parameters(notebook)
    for name, value in given.items():
        if name not in declared:
            raise _unknown(notebook, name, list(declared))
        wanted = type(declared[name])
        if type(value) is not wanted and not (wanted is float and type(value) is int):
            raise Refusal(
                f"notebook {notebook.name}, parameter {name}",
                f"{value!r} of type {type(value).__name__}",
                f"a plain {wanted.__name__}",
                "convert the value before the notebook is run",
            )


def _unknown(notebook: Path, name: str, declared: list[str]) -> Refusal:
    nearest = difflib.get_close_matches(name, declared, n=1)
    hint = f"did you mean {nearest[0]}?" if nearest else "use one of the declared names"
    return Refusal(
        f"notebook {notebook.name}, parameter {name}",
        "a name that its parameters cell does not declare",
        "one of " + ", ".join(declared),
        hint,
    )
