"""The parameters of a notebook, checked before any kernel starts, or, of plain papermill's, in the notebook's own page."""

from __future__ import annotations

import ast
import difflib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from analysis_lib.refusals import Refusal

Scalar = str | int | float | bool

INJECTED = "# Parameters\n"
"""How papermill begins the cell of given parameters, which it puts behind that of the declared ones."""


def declared_parameters(notebook: Path) -> dict[str, Scalar]:
    """Return the names and default values in the cell tagged ``parameters``.

    Only plain assignments of plain scalars are read; the cell is parsed, never executed.
    """
    for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
        if "parameters" in cell["metadata"].get("tags", []):
            return _assigned("".join(cell["source"]), f"notebook {notebook.name}")  # one text, or its lines
    return {}


def _assigned(source: str, whose: str) -> dict[str, Scalar]:
    return dict(_read_assignment(line, whose) for line in ast.parse(source).body)


def _read_assignment(line: ast.stmt, whose: str) -> tuple[str, Scalar]:
    if isinstance(line, ast.Assign) and isinstance(line.targets[0], ast.Name):
        try:
            return line.targets[0].id, ast.literal_eval(line.value)
        except ValueError:
            pass
    raise Refusal(
        f"{whose}, parameters cell",
        ast.unparse(line),
        "plain assignments of a text, number or truth value",
        "move everything that must be computed to the next cell",
    )


def check_parameters(notebook: Path, given: Mapping[str, object]) -> None:
    """Refuse a parameter that the notebook does not declare, or whose value is not a scalar of its kind."""
    _check(f"notebook {notebook.name}", declared_parameters(notebook), given)


def check_injected(cells: Sequence[str]) -> None:
    """Refuse likewise what papermill put into the notebook that runs, whose cells so far are `cells`.

    Papermill itself only warns of a name that is not declared, and runs the notebook with the declared values. Cells that
    somebody runs by hand in an order of their own are not judged.
    """
    places = [place for place, source in enumerate(cells) if place and source.startswith(INJECTED)]
    if not places:
        return
    try:
        declared = _assigned(cells[places[-1] - 1], "this notebook")
    except (Refusal, SyntaxError):  # not the cell of declared ones
        return
    if declared:
        _check("this notebook", declared, _assigned(cells[places[-1]], "this notebook"))


def _check(whose: str, declared: Mapping[str, Scalar], given: Mapping[str, object]) -> None:
    for name, value in given.items():
        if name not in declared:
            raise _unknown(whose, name, list(declared))
        wanted = type(declared[name])
        if type(value) is not wanted and not (wanted is float and type(value) is int):
            raise Refusal(
                f"{whose}, parameter {name}",
                f"{value!r} of type {type(value).__name__}",
                f"a plain {wanted.__name__}",
                "convert the value before the notebook is run",
            )


def _unknown(whose: str, name: str, declared: list[str]) -> Refusal:
    nearest = difflib.get_close_matches(name, declared, n=1)
    hint = f"did you mean {nearest[0]}?" if nearest else "use one of the declared names"
    return Refusal(
        f"{whose}, parameter {name}",
        "a name that its parameters cell does not declare",
        "one of " + ", ".join(declared),
        hint,
    )
