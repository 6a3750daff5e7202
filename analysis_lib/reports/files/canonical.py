"""The canonical form of an executed notebook: the same inputs give the same bytes."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from analysis_lib.reports.files.notebook_file import notebook_text, read_notebook
from analysis_lib.reports.files.places import PROJECT

RUN_KEYS = ("papermill", "execution")
"""Metadata in which papermill and its client keep clocks, paths and process numbers."""

ANSI = re.compile(r"\x1b\[[0-9;]*m")


def canonical_notebook(path: Path) -> str:
    """Return the notebook's JSON without clocks, paths and random ids of one run.

    Cells that papermill inserts get an id made from their place, and its banner cells of a failure are
    dropped: the failed page tells that story better.
    """
    notebook = read_notebook(path)
    notebook.cells = [cell for cell in notebook.cells if not _is_banner(cell)]
    _clean_metadata(notebook.metadata)
    for place, cell in enumerate(notebook.cells):
        _clean_metadata(cell.metadata)
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell["id"] = f"injected-{place}"
    return without_places(notebook_text(notebook)) + "\n"


def without_places(text: str) -> str:
    """Return text, a trace say, in which files of the library and of its environment bear no path of this machine."""
    for place in (PROJECT, Path(sys.prefix)):
        text = text.replace(f"{place}/", "")
    return text


def plain_text(terminal_text: str) -> str:
    """Return terminal output without colour codes."""
    return ANSI.sub("", terminal_text)


def _is_banner(cell) -> bool:
    tags = cell.metadata.get("tags", [])
    return "papermill-error-cell-tag" in tags


def _clean_metadata(metadata) -> None:
    for key in RUN_KEYS:
        metadata.pop(key, None)
