"""Notebook files read and written by nbformat, which is loaded only when a notebook really is."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType
from typing import Any

ADDRESSES = "rfc3987_syntax"
"""What checks international addresses for nbformat's schemas, where it is installed; no notebook's schema holds one."""


def load_nbformat() -> ModuleType:
    """Load nbformat, before papermill or nbconvert does, without the grammars of `ADDRESSES`: they take most of its second.

    jsonschema, which loads them, does without them where they are missing.
    """
    here = ADDRESSES in sys.modules
    if not here:
        sys.modules[ADDRESSES] = None  # type: ignore[assignment]  # Python's own way to say that there is none
    try:
        import nbformat
    finally:
        if not here:
            sys.modules.pop(ADDRESSES, None)
    return nbformat


def read_notebook(path: Path) -> Any:
    """Return the notebook in `path`, in the fourth version of the format."""
    return load_nbformat().read(path, as_version=4)


def notebook_text(notebook: Any) -> str:
    """Return the notebook as the text of its file."""
    return load_nbformat().writes(notebook)
