"""Worked data sets of the literature that are too large to type into a test."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

WORKED = Path(__file__).resolve().parents[3] / "shared" / "data" / "worked"


@pytest.fixture
def read_worked():
    """Read a worked data set, CSV or JSON, or skip the test with the name of the missing file."""

    def read(name: str):
        path = WORKED / name
        if not path.exists():
            pytest.skip(f"shared/data/worked/{name} is not beside this repository")
        return json.loads(path.read_text()) if path.suffix == ".json" else pd.read_csv(path)

    return read
