"""The entities of a crate one after another, however many there are; the file may be a stranger's."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

PIECE = 1 << 16
"""Letters read at a time; twice as many whenever a value does not fit."""

BLANKS = " \t\n\r"


def entities_of(path: Path, short: bool = False) -> Iterator[Any]:
    """Go through the list ``@graph`` of a JSON file, with one of its entities in memory at a time.

    Parameters
    ----------
    path : Path
    short : bool
        Give a reference as the name alone that it leads to; the root refers to every file of a report.

    Raises
    ------
    ValueError
        For a file that is no JSON, and one without that list, or with two.
    RecursionError
        For values that lie too deep in one another.
    """
    with path.open(encoding="utf-8") as stream:
        text, found = _Text(stream, _name_alone if short else None), 0
        for _ in text.parts("{", "}"):
            name = text.value()
            text.take(":")
            if name == "@graph" and text.next_mark() == "[":
                found += 1
                yield from (text.value() for _ in text.parts("[", "]"))
            else:
                text.value()
        if text.next_mark():
            raise ValueError("more than one value")
        if found != 1:
            raise ValueError("no @graph" if not found else "@graph twice")


def _name_alone(found: dict[str, Any]) -> Any:
    return found["@id"] if len(found) == 1 and "@id" in found else found


class _Text:
    """The text of a file as far as it is needed; what was used is let go."""

    def __init__(self, stream: IO[str], hook: Callable[[dict[str, Any]], Any] | None):
        self._stream, self._text, self._place, self._ended = stream, "", 0, False
        self._decoder = json.JSONDecoder(object_hook=hook)

    def next_mark(self) -> str:
        """Return the next letter that is no blank; empty at the end."""
        while True:
            while self._place < len(self._text) and self._text[self._place] in BLANKS:
                self._place += 1
            if self._place < len(self._text):
                return self._text[self._place]
            if self._ended:
                return ""
            self._read(PIECE)

    def take(self, mark: str) -> None:
        """Pass over a mark that must be there."""
        if self.next_mark() != mark:
            raise ValueError(f"no {mark!r} where one is needed")
        self._place += 1

    def parts(self, begin: str, end: str) -> Iterator[None]:
        """Stop before each part of an object or a list, to be taken there, and pass over the marks around them."""
        self.take(begin)
        if self.next_mark() != end:
            yield
            while self.next_mark() != end:
                self.take(",")
                yield
        self.take(end)

    def value(self) -> Any:
        """Return the next value."""
        self.next_mark()
        size = PIECE
        while True:
            try:
                value, end = self._decoder.raw_decode(self._text, self._place)
            except ValueError:
                if self._ended:
                    raise
            else:
                if end < len(self._text) or self._ended:  # a number at the end of what was read may go on
                    self._place = end
                    return value
            self._read(size)
            size *= 2

    def _read(self, size: int) -> None:
        more = self._stream.read(size)
        self._text, self._place, self._ended = self._text[self._place :] + more, 0, not more
