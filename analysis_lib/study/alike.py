"""Messages that say the same of many things, told once with the others' names."""

from __future__ import annotations

import re
from collections.abc import Iterable

FEWEST_TO_GROUP = 4
"""Up to three messages alike are told in full."""

MOST_NAMED = 6

_PARTICULARS = re.compile(
    r"'[^']*'|\"[^\"]*\"|\S+/\S+|\b\S+\.(?:csv|parquet|mat|c3d|log|txt)\b(?=,)|[+−-]?\d+(?:[.,:T-]\d+)*(?:e[+-]?\d+)?"
)
_PLACE = " – "


def grouped(messages: Iterable[str], names: Iterable[str] = ()) -> list[str]:
    """Tell messages that differ in their particulars alone once, and name the others.

    Particulars are names of trials, riders and recordings, numbers and quoted words. Different messages keep their order.

    Parameters
    ----------
    messages : iterable of str
        One line each; what stands before the first dash says where.
    names : iterable of str
        Trials, riders and recordings of the study.

    Returns
    -------
    list of str

    Examples
    --------
    >>> rows = range(2, 8)
    >>> several = [f"trials.csv, row {row} (T{row}), column mount_deg – got '7' – wanted 75 – correct it" for row in rows]
    >>> for line in grouped(several, ["T2", "T3", "T4", "T5", "T6", "T7"]):
    ...     print(line)
    trials.csv, row 2 (T2), column mount_deg – got '7' – wanted 75 – correct it
    … and 5 more like it: T3, T4, T5, T6, T7
    """
    known = sorted(set(filter(None, names)), key=len, reverse=True)
    spot = re.compile("|".join(rf"(?<![\w-]){re.escape(name)}(?![\w-])" for name in known)) if known else None
    groups: dict[str, list[str]] = {}
    for message in dict.fromkeys(messages):
        masked = spot.sub("#", message) if spot else message
        groups.setdefault(_PARTICULARS.sub("#", masked), []).append(message)
    return [line for alike in groups.values() for line in _told(alike, spot)]


def _told(alike: list[str], spot: re.Pattern[str] | None) -> list[str]:
    if len(alike) < FEWEST_TO_GROUP:
        return alike
    first = alike[0]
    names = list(dict.fromkeys(_name(message, first, spot) for message in alike[1:]))
    shown = ", ".join(names[:MOST_NAMED]) + (", …" if len(names) > MOST_NAMED else "")
    return [first, f"… and {len(alike) - 1} more like it: {shown}"]


def _name(message: str, first: str, spot: re.Pattern[str] | None) -> str:
    """Whose message it is: the trial or rider where that tells it from the first, else the part that differs."""
    found, firsts = (spot.search(text) if spot else None for text in (message, first))
    if found and firsts and found[0] != firsts[0]:
        return found[0]
    pairs = zip(message.split(_PLACE), first.split(_PLACE), strict=False)
    return next((part for part, other in pairs if part != other), message)
