"""The words of the command line: a misspelt command or option is answered with the nearest one, if any is near."""

from __future__ import annotations

import argparse
import io
import re
import sys
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Any, NoReturn

ALIKE = 0.7
"""Share of letters that two words have in common, in order, from which one is taken for the other misspelt (difflib)."""

_CHOSEN = re.compile(r"invalid choice: '([^']*)'")
_UNKNOWN = re.compile(r"unrecognized arguments: (.*)")


class CommandParser(argparse.ArgumentParser):
    """A parser that knows the words it takes, and names the one nearest to a word that it does not know."""

    def __init__(self, **named: Any) -> None:
        self.known: list[str] = []
        super().__init__(**{**named, "allow_abbrev": False})

    def add_argument(self, *names: Any, **named: Any) -> argparse.Action:
        """Add an argument as `argparse` does, and remember an option's names."""
        self.known += [name for name in names if name.startswith("-")]
        return super().add_argument(*names, **named)

    def error(self, message: str) -> NoReturn:
        """Say what is wrong and what was probably meant, then exit with 2."""
        super().error(message + self._suggestion(message))

    def _suggestion(self, message: str) -> str:
        if found := _CHOSEN.search(message):
            words = [found[1]]
        elif found := _UNKNOWN.search(message):
            words = [word.partition("=")[0] for word in found[1].split() if word.startswith("-")]
        else:
            return ""
        pairs = [(word, meant_by(word, self.known)) for word in words]
        meant = [f"did you mean {near!r} for {word!r}?" for word, near in pairs if near]
        return f" – {' '.join(meant)}" if meant else ""


def meant_by(word: str, known: Iterable[str]) -> str:
    """Name the one known word that begins like `word`, else the one spelt most like it; "" where none is near.

    Dashes do not count, because all options have them.

    >>> meant_by("--ridr", ["--rider", "--scheduler"]), meant_by("--sched", ["--rider", "--scheduler"])
    ('--rider', '--scheduler')
    >>> meant_by("--dry", ["--rider", "--scheduler"])
    ''
    """
    bare = {name.lstrip("-"): name for name in known}
    begun = word.lstrip("-").casefold()
    longer = [name for name in bare if begun and name.startswith(begun)]
    near = longer if len(longer) == 1 else get_close_matches(begun, list(bare), n=1, cutoff=ALIKE)
    return bare[near[0]] if near else ""


def read_words(parser: CommandParser, words: Sequence[str] | None = None) -> argparse.Namespace:
    """Parse the words of one command, or exit with 2; a strange option is refused by the command that it was given to."""
    words = sys.argv[1:] if words is None else list(words)
    if words and words[0].startswith("-") and words[0] not in parser.known:
        parser.error(f"unrecognized arguments: {words[0]}")
    arguments, strange = parser.parse_known_args(words)
    if strange:
        arguments.parser.error(f"unrecognized arguments: {' '.join(strange)}")
    return arguments


def show_any_letter() -> None:
    """Let a terminal that lacks a letter, such as ± or that of a file's name, show its number and not end the command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def whole_number(text: str) -> int:
    """Read a whole number from 1, as an option's value.

    >>> whole_number("4")
    4
    """
    try:
        number = int(text)
    except ValueError:
        number = 0
    if number < 1:
        raise argparse.ArgumentTypeError(f"got {text!r}, wanted a whole number from 1")
    return number
