"""Whatever DEVELOPERS.md names of the program is there: modules, their contents, files."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[1]
MODULES = [path for room in ("analysis_lib", "tests") for path in sorted((PROJECT / room).rglob("*.py"))]
SAID = re.findall(r"`([^`\n]+)`", (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8"))
DOTTED = {name.removesuffix("()") for name in SAID if re.fullmatch(r"[\w/]+(\.[A-Za-z]\w*)+(\(\))?", name)}
MADE = (".json", ".toml", ".csv", ".html", ".md", ".txt")
"""Files that a run or a user makes."""

NO_DEFINITIONS = {"analysis_lib", "subplot_kw", "rows_of", "mathjax_ignore"}
"""A folder, arguments, and a class of HTML."""


@cache
def names_in(path: Path) -> frozenset[str]:
    """Names that a module defines, at its top or in its classes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = [
        *tree.body,
        *(inner for node in tree.body if isinstance(node, ast.ClassDef) for inner in node.body),
    ]
    targets = [part for node in nodes if isinstance(node, ast.Assign) for part in node.targets]
    targets += [node.target for node in nodes if isinstance(node, ast.AnnAssign)]
    defined = [node.name for node in nodes if isinstance(node, ast.FunctionDef | ast.ClassDef)]
    return frozenset([*defined, *(part.id for part in targets if isinstance(part, ast.Name))])


def modules_called(name: str) -> list[Path]:
    """Modules whose path ends as a dotted name does."""
    ending = tuple(name.replace("/", ".").split("."))
    return [path for path in MODULES if path.with_suffix("").parts[-len(ending) :] == ending]


def is_there(name: str) -> bool:
    if any((root / name).is_file() for root in (PROJECT, PROJECT / "analysis_lib")):
        return True
    parts = name.split(".")
    for cut in range(len(parts), 0, -1):
        for module in modules_called(".".join(parts[:cut])):
            if set(parts[cut:]) <= names_in(module):
                return True
    return any(set(parts) <= names_in(module) for module in MODULES)


@pytest.mark.parametrize("name", sorted(name for name in DOTTED if not name.endswith(MADE)))
def test_every_dotted_name_is_there(name):
    assert is_there(name), f"DEVELOPERS.md names {name}, which is not there"


def test_every_name_of_several_words_is_there():
    names = {name for name in SAID if re.fullmatch(r"[A-Za-z]\w*(_\w+)+|([A-Z][a-z]+){2,}", name)}
    known = {name for module in MODULES for name in (*names_in(module), module.stem)}
    assert names, "no names were found"
    assert names <= known | NO_DEFINITIONS, names - known
