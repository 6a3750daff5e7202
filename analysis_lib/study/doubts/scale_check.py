"""One look at the torque scale of a recorder from outside the recording, and what is said of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis_lib.statistics.estimates import show_count, show_number

GASES, ASKED, FAINT, OTHERS = "gross efficiency", "power asked for", "least power", "other recorder"

_REST = {
    GASES: "and at the gas analysers",
    ASKED: "and whether the power was held",
    FAINT: "and at the zero torque",
    OTHERS: "and at those of the other recorder",
}
"""Where else to look, by what speaks against the scale."""


@dataclass(frozen=True)
class ScaleCheck:
    """One look at a torque scale from outside the recording.

    Attributes
    ----------
    recorder : str
    by : str
        `GASES`, `ASKED`, `FAINT` or `OTHERS`.
    trial : str
        Empty where all trials of the recorder are judged together.
    n : int
        Trials judged.
    found_pct, low_pct, high_pct : float
        What was found and the bounds of what is plausible; of several trials their medians.
    explained_by : tuple of str
        Mistakes in study.toml that would set it right.
    power_W : float
        Median power of the recorder's trials, where `FAINT` or `OTHERS` judges it.
    other : str
        The recorder beside which this one lies, and `other_pct` what its power is of that one's; empty without one.
    is_weak : bool
        Whether it may be due to riders alone: named, and no doubt.
    """

    recorder: str
    by: str
    trial: str
    n: int
    found_pct: float
    low_pct: float
    high_pct: float
    explained_by: tuple[str, ...] = ()
    power_W: float = math.nan
    other: str = ""
    other_pct: float = math.nan
    is_weak: bool = False

    @property
    def in_doubt(self) -> bool:
        """Whether the value lies outside the bounds, by more than riders may."""
        return not self.is_weak and not self.low_pct <= self.found_pct <= self.high_pct

    def doubt(self) -> str:
        """What was found and what is plausible."""
        found, low, high = (show_number(part, 1) for part in (self.found_pct, self.low_pct, self.high_pct))
        if self.trial:
            return f"Gross efficiency is {found} %, where {low} to {high} % is plausible at this metabolic power."
        if self.by in (FAINT, OTHERS):
            return f"The torque scale of recorder {self.recorder} is in doubt: {self._beside_recordings()}."
        by_gases = self.by == GASES
        value = f"gross efficiency is {found} %" if by_gases else f"power is {found} % of what was asked for"
        wanted = "plausible at their metabolic power" if by_gases else "expected"
        return (
            f"The torque scale of recorder {self.recorder} is in doubt: {value} (median,"
            f" n = {show_count(self.n, 'trial')}), where {low} to {high} % is {wanted}."
        )

    def _beside_recordings(self) -> str:
        """What the recordings themselves tell: the recorder's power, beside the least or beside another recorder's."""
        power = f"its power is {show_number(self.power_W, 1)} W (median, n = {show_count(self.n, 'trial')})"
        parts = [f"{power}, less than almost any trial asks for" if self.by == FAINT else power]
        if self.other:
            parts.append(
                f"{show_number(self.other_pct, 1)} % of what recorder {self.other} gives at the same intensities"
            )
        return (", and " if self.by == FAINT else ", ").join(parts)

    def sentence(self) -> str:
        """The doubt, what would explain it and where to look."""
        if self.is_weak:
            return (
                f"Recorder {self.recorder} gives {show_number(self.other_pct, 1)} % of the power of recorder {self.other}"
                " at the same intensities (riders' means): weak evidence against either scale, since riders differ."
            )
        if self.trial:
            return f"{self.doubt()} Look at the gases and at the torque of this trial."
        known = " or ".join(self.explained_by)
        why = (
            f"{known[:1].upper()}{known[1:]} would explain it"
            if known
            else "No unit that study.toml may name explains it"
        )
        rest = _REST[self.by]
        return f"{self.doubt()} {why}; look at unit and scale of its columns in study.toml, at its calibration, {rest}."
