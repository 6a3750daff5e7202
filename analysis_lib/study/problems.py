"""What is wrong or worth knowing about a study folder."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from analysis_lib.refusals import Refusal

Severity = Literal["error", "note"]


@dataclass(eq=False)
class Problem(Refusal):
    """A refusal that also says whether it stops anything.

    Parameters
    ----------
    severity : {"error", "note"}
        An error stops its scope (the study, the rider or the trial) until it is mended. A note stops nothing:
        it is something that a careful reader would want to be told.
    """

    severity: Severity = "error"

    def __reduce__(self):
        fields = (self.what, self.got, self.wanted, self.remedy, self.scope, self.rider, self.trial)
        return (type(self), (*fields, self.severity))


def nearest_of(word: str, known: Iterable[str]) -> str:
    """Name the known word that is spelt most like `word`, or "" when none is near.

    >>> nearest_of("chainsaty_m", ["chainstay_m", "sprocket_teeth"])
    'chainstay_m'
    """
    by_small_letters = {name.casefold(): name for name in known}
    near = get_close_matches(word.casefold(), list(by_small_letters), n=1, cutoff=0.5)
    return by_small_letters[near[0]] if near else ""


def suggest(word: str, known: Iterable[str], otherwise: str) -> str:
    """Turn the nearest known spelling into advice, or give the advice `otherwise`."""
    near = nearest_of(word, known)
    return f"did you mean {near!r}?" if near else otherwise


def listed(words: Iterable[object]) -> str:
    """Write words as one list for a message.

    >>> listed(["round", "oval"])
    'round, oval'
    """
    return ", ".join(str(word) for word in words) or "(none)"
