"""Whether a recorder's torque has the scale that study.toml says: what speaks against it from outside the recording.

A wrong unit leaves a recording complete, steady and smooth. Two things know nothing of it: the oxygen that the riders
took up, which bounds the power that they can have given, and the power that was asked for. Either judges all trials of a
recorder together, because a wrong unit moves them all alike; the gases judge each trial too. Where neither speaks, what
hardly any trial asks for and the study's other recorders tell a gross mistake (`recorder_power`). All make cautions:
riders, analysers and ergometers differ, and a scale is never guessed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.signals.plausibility import FAINTEST_POWER_W, HIGHEST_STEADY_POWER_W
from analysis_lib.signals.units import QUANTITY_BY_COLUMN, UNITS_BY_QUANTITY
from analysis_lib.study.declared.recorder_map import RecorderMap
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.doubts.recorder_power import (
    FEWEST_TRIALS,
    RIDERS_DIFFER,
    TOO_FAR_APART,
    RecorderPair,
    blamed,
    faint_recorders,
    pairs_apart,
    used_powers,
)
from analysis_lib.study.doubts.scale_check import ASKED, FAINT, GASES, OTHERS, ScaleCheck
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

NEAR_ENOUGH = 1.25
"""How far beyond the bounds a mistake that is named may leave the value: a wrong unit spoils the zero too."""


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
    return [
        *found,
        *_by_recordings(settings, trials, powers_W, [part.recorder for part in recorders_in_doubt(found)]),
    ]


def _by_recordings(
    settings: StudySettings, trials: pd.DataFrame, powers_W: Mapping[str, float], doubted: Sequence[str]
) -> Iterator[ScaleCheck]:
    """Judge the recorders that nothing else speaks against by their own power; what speaks for them is passed over."""
    powers = used_powers(trials, powers_W)
    pairs = pairs_apart(powers)
    faint = {name: watts for name, watts in faint_recorders(powers).items() if name not in doubted}
    for name, watts in faint.items():
        yield _faint(settings.recorders[name], name, watts, powers, pairs)
    for name, pair in blamed(pairs, [*doubted, *faint]).items():
        own = powers.loc[powers["recorder"] == name, "power_W"]
        check = _beside(pair, name, TOO_FAR_APART, len(own))
        wanted = 100 / check.found_pct
        why = _explanations(settings.recorders[name], wanted / RIDERS_DIFFER, wanted * RIDERS_DIFFER)
        yield replace(check, power_W=float(own.median()), explained_by=why)
    for pair in pairs:
        if pair.is_weak:
            yield replace(
                _beside(pair, pair.lower, RIDERS_DIFFER, sum(powers["recorder"] == pair.lower)), is_weak=True
            )


def _faint(
    recorder: RecorderMap, name: str, watts: float, powers: pd.DataFrame, pairs: Sequence[RecorderPair]
) -> ScaleCheck:
    n = int((powers["recorder"] == name).sum())
    check = ScaleCheck(name, FAINT, "", n, 100 * watts / FAINTEST_POWER_W, 100.0, math.inf, (), watts)
    below = [pair for pair in pairs if pair.lower == name and not pair.is_weak]
    if below:
        times = below[0].times
        low, high = times / RIDERS_DIFFER, times * RIDERS_DIFFER
        check = replace(check, other=below[0].higher, other_pct=100 / times)
    elif watts > 0:
        low, high = FAINTEST_POWER_W / watts, HIGHEST_STEADY_POWER_W / watts
    else:
        return check
    return replace(check, explained_by=_explanations(recorder, low, high))


def _beside(pair: RecorderPair, name: str, bound: float, n: int) -> ScaleCheck:
    """Look at one recorder of a pair from the other."""
    share, other = (100 / pair.times, pair.higher) if name == pair.lower else (100 * pair.times, pair.lower)
    return ScaleCheck(name, OTHERS, "", n, share, 100 / bound, 100 * bound, other=other, other_pct=share)


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
