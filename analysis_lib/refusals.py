"""The one kind of error that a user of this project is meant to read."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Literal

Scope = Literal["study", "rider", "trial"]


def printable(text: str) -> str:
    """Return text that a terminal shows and does not obey: control characters but the line feed become "·".

    >>> printable("T1\\x1b[2J")
    'T1·[2J'
    """
    return "".join(mark if mark == "\n" or unicodedata.category(mark) != "Cc" else "·" for mark in text)


@dataclass(eq=False)
class Refusal(ValueError):
    """Say what was wrong, what was found, what was wanted and what to do.

    Parameters
    ----------
    what : str
        The thing at fault, as precisely as it is known: file, row, column, rider or argument.
    got, wanted, remedy : str
        What was found there, what would have been accepted, and what the reader can do now.
    scope : {"study", "rider", "trial"}
        How much of a study the fault stops. The default, "study", stops all of it.
    rider, trial : str
        Whose fault it is, where that is known; empty otherwise.
    """

    what: str
    got: str
    wanted: str
    remedy: str
    scope: Scope = "study"
    rider: str = ""
    trial: str = ""

    def __post_init__(self) -> None:
        super().__init__(str(self))

    def __str__(self) -> str:
        return printable(f"{self.what} – got {self.got} – wanted {self.wanted} – {self.remedy}")

    def __reduce__(self):
        fields = (self.what, self.got, self.wanted, self.remedy, self.scope, self.rider, self.trial)
        return (type(self), fields)


class Refusals(ValueError):
    """Several refusals at once, so that nobody has to mend a folder one message at a time."""

    def __init__(self, refusals: list[Refusal]):
        self.refusals = refusals
        super().__init__("\n".join(str(refusal) for refusal in refusals))

    def __reduce__(self):
        return (type(self), (self.refusals,))
