"""Messages that say the same of many things, told once with the others' names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

FEWEST_TO_GROUP = 4
"""Up to three messages alike are told in full."""

MOST_NAMED = 6

_PARTICULARS = re.compile(
    r"'[^']*'|\"[^\"]*\"|\S+/\S+|\b\S+\.(?:csv|parquet|mat|c3d|log|txt)\b(?=,)|[+−-]?\d+(?:[.,:T-]\d+)*(?:e[+-]?\d+)?"
)
_PLACE = " – "
_RUN, _WORD = re.compile(r"[\w./-]+"), re.compile(r"[\w-]+")


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
    known = _Names(names)
    groups: dict[str, list[str]] = {}
    for message in dict.fromkeys(messages):
        groups.setdefault(_PARTICULARS.sub("#", known.mask(message)), []).append(message)
    return [line for alike in groups.values() for line in _told(alike, known)]


def first_few(names: Sequence[str]) -> str:
    """List names, and of many the first.

    >>> first_few(["T1", "T2"]), first_few(["a", "b", "c", "d", "e", "f", "g"])
    ('T1, T2', 'a, b, c, d, e, f, …')
    """
    return ", ".join(names[:MOST_NAMED]) + (", …" if len(names) > MOST_NAMED else "")


class _Names:
    """The names that a study's messages may hold, found without trying every name at every letter."""

    def __init__(self, names: Iterable[str]):
        self._names = set(filter(None, names))
        spaced = sorted((name for name in self._names if not _RUN.fullmatch(name)), key=len, reverse=True)
        odd = (rf"(?<![\w-]){re.escape(name)}(?![\w-])" for name in spaced)
        self._candidate = re.compile("|".join([*odd, _RUN.pattern]))

    def places(self, message: str) -> Iterator[slice]:
        """Find the names of a message: a whole path, or single words of it."""
        for found in self._candidate.finditer(message):
            start, whole = found.start(), found[0].rstrip("./")
            if whole in self._names:
                yield slice(start, start + len(whole))
                continue
            for word in _WORD.finditer(found[0]):
                if word[0] in self._names:
                    yield slice(start + word.start(), start + word.end())

    def mask(self, message: str) -> str:
        """Put a mark in the place of every name."""
        parts, end = [], 0
        for place in self.places(message):
            parts += [message[end : place.start], "#"]
            end = place.stop
        return "".join([*parts, message[end:]])

    def first(self, message: str) -> str:
        """Return the first name in a message; empty where it has none."""
        return next((message[place] for place in self.places(message)), "")


def _told(alike: list[str], known: _Names) -> list[str]:
    if len(alike) < FEWEST_TO_GROUP:
        return alike
    first = alike[0]
    names = list(dict.fromkeys(_name(message, first, known) for message in alike[1:]))
    shown = first_few(names)
    return [first, f"… and {len(alike) - 1} more like it: {shown}"]


def _name(message: str, first: str, known: _Names) -> str:
    """Whose message it is: the trial or rider where that tells it from the first, else the part that differs."""
    found, firsts = known.first(message), known.first(first)
    if found and firsts and found != firsts:
        return found
    pairs = zip(message.split(_PLACE), first.split(_PLACE), strict=False)
    return next((part for part, other in pairs if part != other), message)
