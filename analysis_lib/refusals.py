"""The one kind of error that a user of this project is meant to read."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import Literal

Scope = Literal["study", "rider", "trial", "cell"]


OBEYED = {"Cc", "Cf", "Cs", "Zl", "Zp"}
"""Unicode's categories of characters that control, format, are half a character, or end a line or paragraph."""

SHOWN = "\u200c\u200d"
"""Of these, the two joiners, which some scripts need within words."""

LONGEST_PLACE, LONGEST_PART = 300, 4000
"""Characters of what a message is about, and of its other parts; a hostile table's cell can be far longer."""


def printable(text: str) -> str:
    """Return text that a terminal shows on one line and does not obey: control characters and unseen marks become "·".

    A line feed becomes a blank, so that no cell and no name of a file can pass for a line of the program's own.

    >>> printable("T1\\x1b[2J"), printable("T1\\u202egnp")
    ('T1·[2J', 'T1·gnp')
    """
    return "".join(
        mark if mark in SHOWN or unicodedata.category(mark) not in OBEYED else "·"
        for mark in text.replace("\n", " ")
    )


def cut(part: str, longest: int = LONGEST_PART) -> str:
    """Return a part of a message, without its end where it is longer than anybody reads."""
    return part if len(part) <= longest else f"{part[: longest - 1]}…"


@dataclass(eq=False)
class Refusal(ValueError):
    """Say what was wrong, what was found, what was wanted and what to do.

    Parameters
    ----------
    what : str
        The thing at fault, as precisely as it is known: file, row, column, rider or argument.
    got, wanted, remedy : str
        What was found there, what would have been accepted, and what the reader can do now.
    scope : {"study", "rider", "trial", "cell"}
        How much of a study the fault stops: the default, "study", all of it; "cell" only what needs that cell of a table.
    rider, trial : str
        Whose fault it is, where that is known; empty otherwise.
    each : tuple of str
        What is wrong with each of several things, where the fault is theirs together; every one has a line of its own.
    """

    what: str
    got: str
    wanted: str
    remedy: str
    scope: Scope = "study"
    rider: str = ""
    trial: str = ""
    each: tuple[str, ...] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        super().__init__(str(self))

    def __str__(self) -> str:
        got, wanted, remedy = map(cut, (self.got, self.wanted, self.remedy))
        whole = f"{cut(self.what, LONGEST_PLACE)} – got {got} – wanted {wanted} – {remedy}"
        return "\n".join(map(printable, (whole, *map(cut, self.each))))

    def __reduce__(self):
        fields = (self.what, self.got, self.wanted, self.remedy, self.scope, self.rider, self.trial)
        return (type(self), fields, {"each": self.each})


class Refusals(ValueError):
    """Several refusals at once, so that nobody has to mend a folder one message at a time."""

    def __init__(self, refusals: list[Refusal]):
        self.refusals = refusals
        super().__init__("\n".join(str(refusal) for refusal in refusals))

    def __reduce__(self):
        return (type(self), (self.refusals,))
