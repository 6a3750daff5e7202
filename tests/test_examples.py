"""The examples in the docstrings are true, in every room."""

import doctest
import importlib
from pathlib import Path

import pytest

import analysis_lib

PACKAGE = Path(analysis_lib.__file__).parent
WITH_EXAMPLES = [
    ".".join(file.relative_to(PACKAGE.parent).with_suffix("").parts)
    for file in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in file.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_in_docstrings(name):
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0 and found.failed == 0
