"""A folder taken into use: new, or empty."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.refusals import Refusal


def claim_folder(root: Path) -> Path:
    """Make a folder, or take one that is empty.

    Raises
    ------
    Refusal
        When something is in it already: nothing of a user's is overwritten.
    """
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        got = "a folder that holds something" if root.is_dir() else "a file"
        raise Refusal(str(root), got, "a new or empty folder", "choose another folder")
    root.mkdir(parents=True, exist_ok=True)
    return root
