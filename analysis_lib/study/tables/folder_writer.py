"""A study folder being written: taken into use, and filled with text and tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.study.tables.rows import TableKind


def claim_folder(root: Path) -> Path:
    """Make a folder, or take one that is empty, and put an empty `recordings` into it.

    Raises
    ------
    Refusal
        When something is in it already: nothing of a user's is overwritten.
    """
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        got = "a folder that holds something" if root.is_dir() else "a file"
        raise Refusal(str(root), got, "a new or empty folder", "choose another folder")
    (root / "recordings").mkdir(parents=True)
    return root


def write_text(path: Path, text: str) -> None:
    """Write text alike on every machine: UTF-8, lines ending with a line feed."""
    path.write_text(text, encoding="utf-8", newline="\n")


def write_table(root: Path, kind: TableKind, rows: list[dict[str, Any]]) -> None:
    """Write a table of the study folder: its columns, then any further ones of the rows."""
    further = [name for name in (rows[0] if rows else {}) if name not in kind.columns]
    table = pd.DataFrame(rows, columns=[*kind.columns, *further])
    write_text(root / kind.file, table.to_csv(index=False, lineterminator="\n"))
