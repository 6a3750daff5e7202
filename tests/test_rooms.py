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
NOTEBOOKS = sorted((PROJECT / "notebooks").glob("*.ipynb"))


def _rooms_imported(module: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(module.read_text())):
        names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        parts = [name.split(".") for name in names if name.startswith("analysis_lib.")]
        rooms |= {part[1] for part in parts if part[1] in MAY_USE}
    return rooms


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
