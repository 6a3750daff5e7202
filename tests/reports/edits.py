"""How tests spoil a study's tables."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd


def edit_table(study: Path, table: str, change) -> None:
    """Change one table of a study by a function of its frame of texts."""
    frame = change(pd.read_csv(study / table, dtype=str, keep_default_na=False))
    frame.to_csv(study / table, index=False)


def spoiled(study: Path, name: str) -> Path:
    """Copy a study beside itself, to be edited; without its data package, which would tell."""
    folder = shutil.copytree(study, study.parent / name)
    (folder / "datapackage.json").unlink(missing_ok=True)
    return folder


def replace_in_settings(study: Path, old: str, new: str) -> None:
    """Replace words of study.toml that stand there once."""
    settings = (study / "study.toml").read_text(encoding="utf-8")
    assert settings.count(old) == 1
    (study / "study.toml").write_text(settings.replace(old, new), encoding="utf-8")
