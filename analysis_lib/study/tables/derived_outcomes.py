"""Outcomes that no column and no recording holds alone: they are derived from both."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.protocol import Metabolism, Outcome
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.outcomes.delta_efficiency import delta_efficiency
from analysis_lib.study.outcomes.metabolic_power import (
    ABOVE,
    EQUATIONS,
    EXCHANGE_RATIO,
    GAS_EXCHANGE,
    TWO_MINUTES,
    MetabolicPower,
    check_steady,
    gross_efficiency_pct,
    metabolic_power,
)
from analysis_lib.study.tables.rows import UNREAD

EFFICIENCY, POWER, DELTA = "gross_efficiency_pct", "metabolic_power_W", "delta_efficiency_pct"
DERIVED_UNITS = {EFFICIENCY: "%", POWER: "W", DELTA: "%"}
ACROSS = "across intensities"
"""Where an intensity stands otherwise, in the rows of what takes several to make."""
GASES = ("vo2_L_min", "vco2_L_min")
MINUTES = ("vo2_minute_1_L_min", "vo2_minute_2_L_min")
NO_POWER = "no power from the recording"
NOT_CHECKED = "steady state not checked: trials.csv gives no oxygen uptake of two minutes"

#: Columns of trials.csv that derived outcomes read, with what they are; all in L/min.
GAS_COLUMNS = {
    GASES[0]: "oxygen uptake in the steady state, STPD",
    GASES[1]: "carbon dioxide output in the steady state, STPD",
    MINUTES[0]: "oxygen uptake in the first of two minutes of the steady state, STPD",
    MINUTES[1]: "oxygen uptake in the second of those minutes, STPD",
}


@dataclass(frozen=True)
class DerivedValue:
    """One derived outcome of one trial, NaN where it was refused; the note says how it was made or why not."""

    value: float
    note: str


def gas_columns(outcomes: Iterable[Outcome]) -> tuple[str, ...]:
    """Name the columns of trials.csv that the declared outcomes are derived from."""
    return tuple(GAS_COLUMNS) if any(outcome.source == "derived" for outcome in outcomes) else ()


def levels_of(settings: StudySettings, outcome: Outcome) -> list[str]:
    """The intensities of an outcome's rows, in their order; one name for them all where it takes several."""
    return [ACROSS] if is_across(outcome) else settings.intensities_of(outcome)


def is_across(outcome: Outcome) -> bool:
    """Whether an outcome is one value a period, made of its trials at several intensities."""
    return outcome.source == "derived" and outcome.name == DELTA


def derive(outcome: str, trial: Any, power_W: float, power_note: str, rules: Metabolism) -> DerivedValue:
    """Derive one outcome of one trial.

    Parameters
    ----------
    outcome : str
        "gross_efficiency_pct" or "metabolic_power_W".
    trial : row of trials.csv
    power_W : float
        Mechanical power from the recording; NaN where the recording could not be used.
    power_note : str
        What a reader must know of that power, such as that one leg was doubled; empty where nothing.
    rules : Metabolism
        The equation, the bound of a steady state and the range of the exchange ratio.
    """
    try:
        metabolic, note = _steady_power(trial, rules)
        if outcome == POWER:
            return DerivedValue(metabolic.value, note)
        if math.isnan(power_W):
            return DerivedValue(math.nan, NO_POWER)
        known = "; ".join(part for part in (power_note, note) if part)
        return DerivedValue(gross_efficiency_pct(power_W, metabolic), known)
    except Refusal as refusal:
        return DerivedValue(math.nan, str(refusal))


def derive_delta(trials: Sequence[Any], powers_W: Sequence[float], rules: Metabolism) -> DerivedValue:
    """Derive the delta efficiency of one period from its trials at several intensities.

    Trials without power, or whose gases are refused, are left out of the slope; the note names them.

    Parameters
    ----------
    trials : rows of trials.csv
        One rider's, of one period, at most one an intensity.
    powers_W : sequence of float
        Mechanical power of each; NaN where the recording could not be used.
    rules : Metabolism
    """
    metabolic = [
        derive(POWER, trial, power, "", rules) for trial, power in zip(trials, powers_W, strict=True)
    ]
    made = list(zip(trials, powers_W, metabolic, strict=True))
    known = [(power, found.value) for _, power, found in made if not math.isnan(power + found.value)]
    lost = [str(trial.intensity) for trial, power, found in made if math.isnan(power + found.value)]
    without = f"; without {listed(lost)}" if lost else ""
    try:
        found = delta_efficiency([power for power, _ in known], [energy for _, energy in known])
        return DerivedValue(found.value, f"slope over {found.n} intensities{without}")
    except Refusal as refusal:
        return DerivedValue(math.nan, f"{refusal}{without}")


def why_refused(note: str) -> str:
    """Say in a few words why a trial has no derived value, from the note in its place.

    Examples
    --------
    >>> why_refused("oxygen uptake of two minutes – got 2.8 and 3.2 L/min, 13 % apart – wanted at most 5 % apart – ...")
    'no steady state'
    """
    if note.startswith(NO_POWER):
        return NO_POWER
    if note.startswith(TWO_MINUTES):
        return "no steady state"
    if note.startswith(GAS_EXCHANGE) and "a cell at fault" in note:
        return "a cell at fault"
    if note.startswith(EXCHANGE_RATIO):
        return "exchange ratio above" if ABOVE in note else "exchange ratio below"
    return "gases missing" if note.startswith(GAS_EXCHANGE) else "other"


def _steady_power(trial: Any, rules: Metabolism) -> tuple[MetabolicPower, str]:
    unread = [name for name in GAS_COLUMNS if name in getattr(trial, UNREAD, "").split()]
    if unread:  # also of the two minutes: without them nobody would know whether the state was steady
        got, remedy = (
            f"a cell at fault in {listed(unread)}",
            "correct it, or empty it if nothing was measured",
        )
        raise Refusal(GAS_EXCHANGE, got, "numbers above zero", remedy)
    vo2, vco2, first, second = (float(getattr(trial, name, math.nan)) for name in GAS_COLUMNS)
    if math.isnan(vo2) or math.isnan(vco2):
        raise Refusal(GAS_EXCHANGE, "an empty cell", listed(GASES), "fill it in where the value exists")
    unchecked = math.isnan(first) or math.isnan(second)
    if not unchecked:
        check_steady(first, second, rules.steady_change_pct)
    equation = EQUATIONS[rules.equation]
    power = metabolic_power(vo2, vco2, equation, rules.lowest_exchange_ratio, rules.highest_exchange_ratio)
    made = f"exchange ratio {power.exchange_ratio:.2f}; {equation.source}"
    return power, f"{made}; {NOT_CHECKED}" if unchecked else made
