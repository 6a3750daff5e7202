"""What must a reader know of an estimate of the ring effect beside its interval?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.kept_periods import KeptPeriods, kept_periods
from analysis_lib.statistics.trial_table import OVERALL


@dataclass(frozen=True)
class Remark:
    """What a reader must know of the estimate at one intensity, or of all of them where it is None.

    ``kept`` has the numbers where the words are of period effects that stay.
    """

    intensity: object
    words: str
    kept: KeptPeriods | None = None

    def sentence(self, called: Callable[[object], str] = str) -> str:
        """The remark in words; `called` says what a page calls an intensity."""
        return self.words if self.intensity is None else f"{called(self.intensity)}: {self.words}"


def take_remarks(
    trials: pd.DataFrame, estimates: dict[object, Estimate], contrasts: pd.DataFrame
) -> tuple[Remark, ...]:
    """Remark on one sequence alone, on sequences of which nobody is left, and on period effects that stay.

    Parameters
    ----------
    trials, contrasts : DataFrame
        As `trial_table.check_trials` and `contrasts.rider_contrasts` return them.
    estimates : dict
        By intensity, and "overall".
    """
    notes: list[Remark] = []
    planned = set(trials["sequence"])
    if len(planned) == 1:
        only = f"All riders rode sequence {planned.pop()}: period effects cannot be told from the ring."
        return (Remark(None, only),)
    for intensity in estimates:
        lost = planned - set(contrasts.loc[contrasts["intensity"] == intensity, "sequence"])
        if lost:
            names = ", ".join(sorted(map(str, lost)))
            notes.append(
                Remark(intensity, f"nobody of sequence {names} is left; period effects do not cancel.")
            )
    errors = {intensity: estimate.se for intensity, estimate in estimates.items()}
    kept = kept_periods(trials, contrasts, errors, estimates[OVERALL].unit)
    return (*notes, *(Remark(part.intensity, part.sentence(), part) for part in kept))
