"""What is wrong or worth knowing about a study folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import Any, Literal

from analysis_lib.refusals import Refusal, Refusals

Severity = Literal["error", "caution", "note"]
IN_COLUMN = ", column "
"""Stands in a problem of a table before the column at fault, with which its place ends."""


@dataclass(eq=False)
class Problem(Refusal):
    """A refusal that also says whether it stops anything.

    Parameters
    ----------
    severity : {"error", "caution", "note"}
        An error stops its scope (the study, the rider, the trial, or what needs the cell) until it is mended. A caution
        stops nothing, but speaks against something that is used; a note is something that a careful reader would want
        to be told.
    recorder : str
        Whose row it is, in tables that list recorders; empty otherwise.
    moment : datetime or None
        The time in that row, where it can be read.
    """

    severity: Severity = "error"
    recorder: str = ""
    moment: datetime | None = None

    @property
    def column(self) -> str:
        """The column of a table at fault; empty where the problem is none of a single column."""
        return self.what.rpartition(IN_COLUMN)[2] if IN_COLUMN in self.what else ""

    def __reduce__(self):
        fields = (self.what, self.got, self.wanted, self.remedy, self.scope, self.rider, self.trial)
        return (type(self), (*fields, self.severity, self.recorder, self.moment), {"each": self.each})


def nearest_of(word: str, known: Iterable[str]) -> str:
    """Name the known word that is spelt most like `word`, or "" when none is near.

    >>> nearest_of("chainsaty_m", ["chainstay_m", "sprocket_teeth"])
    'chainstay_m'
    """
    small, by_small_letters = word.casefold(), {name.casefold(): name for name in known}
    if small in by_small_letters:
        return by_small_letters[small]
    near = get_close_matches(small, list(by_small_letters), n=1, cutoff=0.5)
    return by_small_letters[near[0]] if near else ""


def suggest(word: str, known: Iterable[str], otherwise: str) -> str:
    """Turn the nearest known spelling into advice, or give the advice `otherwise`."""
    near = nearest_of(word, known)
    return f"did you mean {near!r}?" if near else otherwise


def rename(wanted: str, found: Iterable[str], otherwise: str) -> str:
    """Advise to rename what was found under a misspelt name, or give the advice `otherwise`.

    >>> rename("mount_deg", ["mount_dg", "tyre"], "add the column")
    "rename 'mount_dg' to 'mount_deg'"
    """
    near = nearest_of(wanted, found)
    return f"rename {near!r} to {wanted!r}" if near else otherwise


def listed(words: Iterable[object]) -> str:
    """Write words as one list for a message.

    >>> listed(["round", "oval"])
    'round, oval'
    """
    return ", ".join(str(word) for word in words) or "(none)"


def repeated(key: str, values: Iterable[object]) -> list[Refusal]:
    """Refuse every value that stands more than once where each must be told from the others."""
    twice = [value for value, count in Counter(values).items() if count > 1]
    return [Refusal(key, f"{value!r} twice", "each once", "rename or remove one of them") for value in twice]


def or_refuse(value: Any, faults: list[Refusal]) -> Any:
    """Return the value, or refuse with all its faults at once."""
    if faults:
        raise Refusals(faults)
    return value
