"""Whether a recorder's torque has the scale that study.toml says: what speaks against it from outside the recording.

A wrong unit leaves a recording complete, steady and smooth. Two things know nothing of it: the oxygen that the riders
took up, which bounds the power that they can have given, and the power that was asked for. Either judges all trials of a
recorder together, because a wrong unit moves them all alike; the gases judge each trial too. Both make cautions: riders,
analysers and ergometers differ, and a scale is never guessed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.signals.units import QUANTITY_BY_COLUMN, UNITS_BY_QUANTITY
from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.study.declared.recorder_map import RecorderMap
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.derived_outcomes import POWER, derive

UNLOADED_W = (110.0, 240.0)
"""What rest and turning the legs without load cost: 7 mL of oxygen a minute and kg (American College of Sports Medicine's
equation of leg cycling, from memory, very sure), 2.4 W/kg, for riders of 45 and 100 kg."""

DELTA_EFFICIENCY_PCT = (22.0, 28.0)
"""What each watt more is worth: about 27 % by the same equation (10.8 mL a minute and W); 25.8 ± 1.5 % in trained riders
(Moseley & Jeukendrup 2001, from memory), 21 to 23 % in one champion (Coyle 2005, J Appl Physiol 98:2191, from memory)."""

FEWEST_W = 500.0
"""Metabolic power below which rest, cadence and analysers decide what the efficiency is: such a trial is not judged."""

ASKED_PCT = (86.0, 116.0)
"""Power over the power asked for: halfway, in ratios, to the unit nearest to N·m, 1.356 times more or less. Two ergometers
may differ by 10 % (Paton & Hopkins 2001, Sports Med 31:489, from memory)."""

SPREAD_OF_ONE_PCT = 2 * 4.2
"""How much wider the bounds of a single trial are than those of a median: twice the spread of a rider's own efficiency
(Moseley & Jeukendrup 2001)."""

FEWEST_TRIALS = 3
"""Trials from which a recorder is judged: of one or two a rider, an analyser or a bad day can be the cause."""

NEAR_ENOUGH = 1.25
"""How far beyond the bounds a mistake that is named may leave the value: a wrong unit spoils the zero too."""

GASES, ASKED = "gross efficiency", "power asked for"


@dataclass(frozen=True)
class ScaleCheck:
    """One look at a torque scale from outside the recording.

    Attributes
    ----------
    recorder : str
    by : str
        `GASES` or `ASKED`.
    trial : str
        Empty where all trials of the recorder are judged together.
    n : int
        Trials judged.
    found_pct, low_pct, high_pct : float
        What was found and the bounds of what is plausible; of several trials their medians.
    explained_by : tuple of str
        Mistakes in study.toml that would set it right.
    """

    recorder: str
    by: str
    trial: str
    n: int
    found_pct: float
    low_pct: float
    high_pct: float
    explained_by: tuple[str, ...] = ()

    @property
    def in_doubt(self) -> bool:
        """Whether the value lies outside the bounds."""
        return not self.low_pct <= self.found_pct <= self.high_pct

    def doubt(self) -> str:
        """What was found and what is plausible."""
        found, low, high = (show_number(part, 1) for part in (self.found_pct, self.low_pct, self.high_pct))
        if self.trial:
            return f"Gross efficiency is {found} %, where {low} to {high} % is plausible at this metabolic power."
        by_gases = self.by == GASES
        value = f"gross efficiency is {found} %" if by_gases else f"power is {found} % of what was asked for"
        wanted = "plausible at their metabolic power" if by_gases else "expected"
        return (
            f"The torque scale of recorder {self.recorder} is in doubt: {value} (median,"
            f" n = {show_count(self.n, 'trial')}), where {low} to {high} % is {wanted}."
        )

    def sentence(self) -> str:
        """The doubt, what would explain it and where to look."""
        if self.trial:
            return f"{self.doubt()} Look at the gases and at the torque of this trial."
        known = " or ".join(self.explained_by)
        why = (
            f"{known[:1].upper()}{known[1:]} would explain it"
            if known
            else "No unit that study.toml may name explains it"
        )
        rest = "and at the gas analysers" if self.by == GASES else "and whether the power was held"
        return f"{self.doubt()} {why}; look at unit and scale of its columns in study.toml, at its calibration, {rest}."


def efficiency_band_pct(metabolic_W: float) -> tuple[float, float]:
    """Return the gross efficiencies between which riders lie at a metabolic power, %.

    Gross efficiency = delta efficiency · (1 − unloaded/metabolic power): it rises with power, because rest and the legs
    cost the same at any. The bounds do not know the recorded power, so that a wrong torque cannot move them.

    Examples
    --------
    22 · (1 − 240/1000) and 28 · (1 − 110/1000); an easy trial may have less:

    >>> efficiency_band_pct(1000.0), efficiency_band_pct(550.0)
    ((16.72, 24.92), (12.4, 22.4))
    """
    low, high = (
        delta * (1 - unloaded / metabolic_W)
        for delta, unloaded in zip(DELTA_EFFICIENCY_PCT, reversed(UNLOADED_W), strict=True)
    )
    return round(low, 10), round(high, 10)


def check_scales(
    settings: StudySettings, trials: pd.DataFrame, powers_W: Mapping[str, float]
) -> list[ScaleCheck]:
    """Judge every recorder by what its trials' gases and targets tell, then single trials whose gases stand apart.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        Rows of trials.csv.
    powers_W : dict of trial to float
        Recorded power; trials without it are passed over.
    """
    rows = [row for row in trials.itertuples() if not math.isnan(powers_W.get(str(row.trial), math.nan))]
    singles = [*_by_gases(settings, rows, powers_W), *_by_target(settings, rows, powers_W)]
    found: list[ScaleCheck] = []
    for name, recorder in settings.recorders.items():
        for by in (GASES, ASKED):
            own = [part for part in singles if part.recorder == name and part.by == by]
            whole = [_judge_together(own, recorder)] if len(own) >= FEWEST_TRIALS else []
            apart = [wide for part in own if by == GASES and (wide := _widened(part)).in_doubt]
            found += whole if whole and whole[0].in_doubt else [*whole, *apart]
    return found


def _by_gases(
    settings: StudySettings, rows: Sequence[Any], powers_W: Mapping[str, float]
) -> Iterator[ScaleCheck]:
    """Judge the trials at whose intensities study.toml wants something of the gases, and whose gases tell the energy."""
    rules = settings.metabolism
    derived = [outcome for outcome in settings.outcomes if outcome.source == "derived"]
    told = {name for outcome in derived for name in settings.intensities_of(outcome)}
    for row in rows:
        if rules is None or str(row.intensity) not in told:
            continue
        metabolic = derive(POWER, row, math.nan, "", rules).value
        if metabolic >= FEWEST_W:
            found = 100 * powers_W[str(row.trial)] / metabolic
            band = efficiency_band_pct(metabolic)
            yield ScaleCheck(str(row.recorder), GASES, str(row.trial), 1, found, *band)


def _widened(single: ScaleCheck) -> ScaleCheck:
    share = SPREAD_OF_ONE_PCT / 100
    return replace(single, low_pct=single.low_pct * (1 - share), high_pct=single.high_pct * (1 + share))


def _by_target(
    settings: StudySettings, rows: Sequence[Any], powers_W: Mapping[str, float]
) -> Iterator[ScaleCheck]:
    targets = {part.name: part.target_power_W for part in settings.intensities}
    for row in rows:
        target = targets.get(str(row.intensity))
        if target is not None:
            found = 100 * powers_W[str(row.trial)] / target
            yield ScaleCheck(str(row.recorder), ASKED, str(row.trial), 1, found, *ASKED_PCT)


def _judge_together(singles: Sequence[ScaleCheck], recorder: RecorderMap) -> ScaleCheck:
    values = [(part.found_pct, part.low_pct, part.high_pct) for part in singles]
    found, low, high = (float(part) for part in np.median(values, axis=0))
    whole = ScaleCheck(singles[0].recorder, singles[0].by, "", len(singles), found, low, high)
    if not whole.in_doubt or found <= 0:
        return whole
    return replace(whole, explained_by=_explanations(recorder, low / found, high / found))


def _explanations(recorder: RecorderMap, low: float, high: float) -> tuple[str, ...]:
    """Name the mistakes whose factor, from `low` to `high`, sets torque right; if there is none, those that come near."""
    mistakes = list(_mistakes(recorder))
    for reach in (1.0, NEAR_ENOUGH):
        found = tuple(name for name, factor in mistakes if low / reach <= factor <= high * reach)
        if found:
            return found
    return ()


def _mistakes(recorder: RecorderMap) -> Iterator[tuple[str, float]]:
    """Go through what may be wrong in a recorder's entry, with the factor that sets its torque right."""
    declared = {
        (quantity, part.unit)
        for name, part in recorder.columns.items()
        if (quantity := QUANTITY_BY_COLUMN[name]) in ("torque", "force")
    }
    if len(declared) == 1:
        ((quantity, unit),) = declared
        known = UNITS_BY_QUANTITY[quantity]
        for other in known:
            if other != unit:
                yield (
                    f"a file in {_shown(other)} that is declared as {_shown(unit)}",
                    known[other] / known[unit],
                )
    channels = recorder.recorder_settings().channels
    if channels == ("total",):
        yield "one leg's torque that is declared as that of both", 2.0
    elif len(channels) == 1:
        yield "a torque of both legs that is declared as one leg's", 0.5


def _shown(unit: str) -> str:
    return unit.replace(" ", "·")


def recorders_in_doubt(checks: Sequence[ScaleCheck]) -> list[ScaleCheck]:
    """Return the recorders whose trials together lie outside what is plausible."""
    return [part for part in checks if not part.trial and part.in_doubt]


def cautions_of(checks: Sequence[ScaleCheck], recorder: str, trial: str) -> list[str]:
    """Return what speaks against one trial's torque: its recorder's scale, or its own gases."""
    return [
        part.doubt()
        for part in checks
        if part.in_doubt and (part.trial == trial if part.trial else part.recorder == recorder)
    ]
