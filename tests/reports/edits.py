"""How tests spoil a study's tables."""

from __future__ import annotations

from pathlib import Path

import pandas as pd


def edit_table(study: Path, table: str, change) -> None:
    """Change one table of a study by a function of its frame of texts."""
    frame = change(pd.read_csv(study / table, dtype=str, keep_default_na=False))
    frame.to_csv(study / table, index=False)
