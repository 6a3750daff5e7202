"""A frozen protocol, read again: as a stranger's file it can be a link, or of any content."""

from __future__ import annotations

import io
import json
from collections.abc import Collection
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.planning.frozen_protocol import OPEN_ALLOCATION, OPEN_SCHEDULE, sha256_of_file
from analysis_lib.study.planning.protocol_text import in_present_words


def read_protocol(path: Path) -> dict[str, Any] | None:
    """Read a protocol; None where there is none or it is not one."""
    if not path.is_file() or not is_inside(path.parent.parent, path):
        return None
    try:
        frozen = json.loads(path.read_text(encoding="utf-8"))
        plan, sums = frozen["promised"]["plan"], frozen["sha256"]
        words = [*plan["exclusions"], sums[OPEN_ALLOCATION], sums[OPEN_SCHEDULE], *sums.values()]
        numbers = plan["washout_hours"], frozen["trials_listed_when_frozen"]
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None
    is_one = all(isinstance(word, str) for word in words) and all(isinstance(n, int | float) for n in numbers)
    return _in_present_words(frozen) if is_one else None


def _in_present_words(frozen: dict[str, Any]) -> dict[str, Any]:
    """Call the analysis what it is called now, so that words alone are no change."""
    promised = frozen["promised"]
    if not isinstance(analysis := promised.get("analysis"), dict) or "method" not in analysis:
        return frozen
    said = {**analysis, "method": in_present_words(analysis["method"])}
    return {**frozen, "promised": {**promised, "analysis": said}}


def read_frozen_table(path: Path, sha256: str, columns: Collection[str]) -> pd.DataFrame | None:
    """Read columns of a table of the protocol as text; None where it is not the table that was frozen, or has none such."""
    if not path.is_file() or not is_inside(path.parent, path) or sha256_of_file(path) != sha256:
        return None
    try:
        frame = pd.read_csv(io.BytesIO(path.read_bytes()), dtype=str, keep_default_na=False)[list(columns)]
        return frame.assign(period=frame["period"].astype(int)) if "period" in columns else frame
    except (ValueError, KeyError):  # pandas' parser and decoder errors are ValueErrors
        return None
