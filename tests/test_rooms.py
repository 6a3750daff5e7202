"""The rooms of the library: imports run one way, and notebooks hold no functions and no outputs."""

import ast
import json
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[1]
LIBRARY = PROJECT / "analysis_lib"
MAY_USE = {
    "statistics": set(),
    "mechanics": {"statistics"},
    "signals": {"statistics"},
    "study": {"statistics", "mechanics", "signals"},
    "reports": {"statistics", "mechanics", "signals", "study"},
}
ROOMS_WITHIN = {
    "study": (
        *("outcomes", "declared", "tables", "template", "corrections"),
        *("checks", "doubts", "planning", "synthetic"),
    ),
    "reports": (
        *("files", "execution", "figures", "exhibits", "trials", "rider", "ring_mechanics", "measurement"),
        *("study", "several_rings", "single_rider", "plan", "pages", "record", "running"),
    ),
}
"""Each may use those before it."""

NOTEBOOKS = sorted((PROJECT / "notebooks").glob("*.ipynb"))


def _imported(module: Path) -> list[list[str]]:
    """The names, in parts, of this library's modules that a module imports."""
    found = []
    for node in ast.walk(ast.parse(module.read_text())):
        names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        found += [name.split(".") for name in names if name.startswith("analysis_lib.")]
    return found


def _rooms_imported(module: Path) -> set[str]:
    return {parts[1] for parts in _imported(module) if parts[1] in MAY_USE}


@pytest.mark.parametrize(
    "module", sorted(LIBRARY.glob("*/**/*.py")), ids=lambda path: path.relative_to(LIBRARY).as_posix()
)
def test_imports_run_one_way(module):
    room = module.relative_to(LIBRARY).parts[0]
    assert _rooms_imported(module) - {room} <= MAY_USE[room]


def test_what_is_slow_to_load_is_left_until_a_page_asks_for_it():
    # A rider's page needs neither; scipy loads its parts by itself, when they are first named.
    for module in sorted(LIBRARY.glob("*/**/*.py")):
        lines = [line for line in ast.parse(module.read_text()).body if isinstance(line, ast.ImportFrom)]
        named = {f"{line.module}.{name.name}" for line in lines for name in line.names}
        early = {name for name in named if name.startswith(("scipy.", "statsmodels."))}
        assert all(name.startswith("scipy.special") for name in early), module.name


@pytest.mark.parametrize(
    "module",
    sorted(module for room in ROOMS_WITHIN for module in (LIBRARY / room).glob("*/*.py")),
    ids=lambda path: path.relative_to(LIBRARY).as_posix(),
)
def test_imports_within_a_room_run_one_way(module):
    outer, inner = module.relative_to(LIBRARY).parts[:2]
    order = ROOMS_WITHIN[outer]
    used = {parts[2] for parts in _imported(module) if parts[1] == outer}
    assert used <= set(order[: order.index(inner) + 1])


@pytest.mark.parametrize("outer", ROOMS_WITHIN)
def test_every_module_stands_in_a_room_within(outer):
    rooms = {path.parent.name for path in (LIBRARY / outer).glob("*/*.py")}
    assert rooms == set(ROOMS_WITHIN[outer])
    assert [path.name for path in (LIBRARY / outer).glob("*.py")] == ["__init__.py"]


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_are_stored_clean_and_define_nothing(notebook):
    cells = json.loads(notebook.read_text())["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert all(not cell["outputs"] and cell["execution_count"] is None for cell in code)
    for cell in code:
        tree = ast.parse("".join(cell["source"]))
        assert not any(
            isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Lambda) for node in ast.walk(tree)
        )
    headings = [
        line
        for cell in cells
        if cell["cell_type"] == "markdown"
        for line in cell["source"]
        if line.startswith("#")
    ]
    assert headings[0].startswith("# ")
    assert headings[0].rstrip().endswith("?")
