"""Numbers as they stand in tables on pages and in files."""

from __future__ import annotations

import csv
import io
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd

from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.statistics.estimates import show_digits

FILE_DIGITS = 10
"""Significant digits in CSV and JSON: far below any measuring error, above the last bits that differ by machine."""

SPREADSHEET_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""OWASP, CSV injection; from memory. The wide forms count where the spreadsheet speaks an East Asian language."""

FORMULA_IN_A_CELL_OF_ITS_OWN = re.compile(r"([;\t\n]\s*)([=+\-@＝＋－＠])")
"""Where decimals have commas, a spreadsheet parts cells at semicolons, so that words after one begin a cell."""


_TORQUE_UNIT = re.compile(r"\bN m\b")
"""As files and study.toml spell it; a reader sees N·m."""


def format_cell(value: object, digits: int | None = None) -> str:
    """Return a table cell's text: a dash for nothing, `digits` decimals (or 4 significant digits) for a real number.

    >>> format_cell(1.23456, 2), format_cell(float("nan")), format_cell(12), format_cell(-0.0001, 2)
    ('1.23', '–', '12', '0.00')
    >>> format_cell(0.3 - 0.1 - 0.2), format_cell(-1.5e-7)
    ('0', '−1.5e−07')
    >>> format_cell(float("-inf"))
    '−∞'
    >>> format_cell("Peak torque (N m)")
    'Peak torque (N·m)'
    """
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return "–"
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        text = f"{value:.{digits}f}" if digits is not None else show_digits(float(value))
        text = text.lstrip("-") if not text.strip("-0.") else text
        return text.replace("-", "−").replace("inf", "∞")
    return _TORQUE_UNIT.sub("N·m", str(value))


def format_p(p: float) -> str:
    """Return a p value as it stands in a table: three decimals, never zero.

    >>> format_p(0.04321), format_p(1e-9), format_p(float("nan"))
    ('0.043', '< 0.001', '–')
    """
    return "< 0.001" if p < 0.001 else format_cell(float(p), 3)


def write_csv(path: Path, frame: pd.DataFrame) -> None:
    """Write a tidy table with declared digits; text that a spreadsheet would run as a formula is quoted off.

    The bytes are those of `DataFrame.to_csv`, which spends most of its time on other matters.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([_spreadsheet_safe(name) for name in frame.columns])
    writer.writerows(zip(*(_written(column) for _, column in frame.items()), strict=True))
    write_text_whole(path, buffer.getvalue())


def _written(column: pd.Series) -> list[object]:
    """Return a column's cells as they are written: nothing for what is not known."""
    kind = getattr(column.dtype, "kind", "")
    if kind == "f":
        numbers = column.to_numpy(dtype=float, na_value=math.nan).tolist()
        written = map(f"{{:.{FILE_DIGITS}g}}".format, numbers)
        return ["" if cell == "nan" else cell for cell in written]
    if kind in "iub" and isinstance(column.dtype, np.dtype):
        return column.tolist()
    if kind == "M":
        column = column.astype(str).where(column.notna(), "")
    cells = column.astype(object).tolist()
    words = {cell for cell in cells if isinstance(cell, str)}  # mostly the same few, again and again
    safe = {word: _spreadsheet_safe(word) for word in words}
    return [safe[cell] if isinstance(cell, str) else "" if pd.isna(cell) else cell for cell in cells]


def _spreadsheet_safe(value: object) -> object:
    """Quote off formulas; a lone carriage return, which would begin a row of its own, becomes a line feed."""
    if not isinstance(value, str):
        return value
    text = value.replace("\r\n", "\n").replace("\r", "\n")
    text = FORMULA_IN_A_CELL_OF_ITS_OWN.sub(r"\1'\2", text)
    return "'" + text if text.startswith(SPREADSHEET_FORMULA_STARTS) else text
