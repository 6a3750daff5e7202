"""Notebook files read and written by nbformat, which is loaded only when a notebook really is.

Loading it takes a second (a schema's grammars are built), which a run in which nothing changed need not pay.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any


def read_notebook(path: Path) -> Any:
    """Return the notebook in `path`, in the fourth version of the format."""
    import nbformat

    return nbformat.read(path, as_version=4)


def notebook_text(notebook: Any) -> str:
    """Return the notebook as the text of its file."""
    import nbformat

    return nbformat.writes(notebook)
