"""What a table's columns are called, how its rows are told apart, and what room a cell needs."""

from __future__ import annotations

import re

import pandas as pd

from analysis_lib.reports.exhibits.numbers import format_cell

UNITS = {"deg": "deg", "Nm": "N·m", "W": "W", "rpm": "rpm", "kg": "kg", "mm": "mm"}
"""Units by which a column's name may end."""

SENTENCE = 60
"""Characters from which a cell is given room to be read as a sentence rather than as a column of single words."""

LABEL = 16
"""Characters up to which a cell stays on one line, blanks or not: an intensity, say."""

LONG_WORD = 24
"""Characters without a gap beyond which a cell's word is broken over lines, so that it cannot push others away."""


def in_words(name: str) -> str:
    """Return a column's name as a heading, its unit in brackets.

    >>> in_words("mount_low_deg"), in_words("peak_torque_Nm"), in_words("riders_allocated")
    ('mount low (deg)', 'peak torque (N·m)', 'riders allocated')
    """
    words, _, unit = name.rpartition("_")
    return f"{words.replace('_', ' ')} ({UNITS[unit]})" if words and unit in UNITS else name.replace("_", " ")


def wordless(column: pd.Series) -> bool:
    """Whether a column that is not of numbers holds nothing in any row."""
    if pd.api.types.is_numeric_dtype(column):
        return False
    return all(pd.isna(cell) or cell == "" for cell in column.astype(object).tolist())


def row_keys(frame: pd.DataFrame) -> list[str]:
    """Return a short name for every row: the values of as many leading columns as tell all rows apart.

    >>> row_keys(pd.DataFrame({"ring": ["round", "round"], "period": [1, 2], "n": [5, 5]}))
    ['round-1', 'round-2']
    """
    words: list[str] = []
    for number, (_, column) in enumerate(frame.items()):
        cells = [format_cell(value) for value in column.astype(object).tolist()]
        words = [f"{before}-{cell}" for before, cell in zip(words, cells, strict=True)] if number else cells
        keys = [_slug(word) for word in words]
        if len(set(keys)) == len(keys):
            return keys
    return [str(number) for number in range(1, len(frame) + 1)]


def _slug(words: str) -> str:
    return re.sub(r"[^\w.−]+", "-", words).strip("-").lower()


def word_kind(text: str) -> str:
    """Whether a cell is one short word, an id say, that stays on one line, a sentence, or holds too long a word."""
    if len(text) > SENTENCE:
        return "sentence"
    if any(len(word) > LONG_WORD for word in re.split(r"[\s-]+", text)):
        return "unbroken"
    return "whole" if len(text) <= LABEL or (len(text) <= LONG_WORD and not re.search(r"\s", text)) else ""


def holds_p(column: str) -> bool:
    """Whether a column holds p values: it is named p, p_... or ..._p."""
    return column == "p" or column.startswith("p_") or column.endswith("_p")
