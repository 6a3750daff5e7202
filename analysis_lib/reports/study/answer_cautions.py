"""What a reader must know of a standard error before its verdict: few riders, or riders alike by chance."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.floor_exhibits import effect_floor, floor_table
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.equivalence import judge, show_interval
from analysis_lib.statistics.estimates import Estimate, decimals_for, show_number
from analysis_lib.statistics.standard_errors import se_interval
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after

FEW_DF = 5
"""Below so many degrees of freedom a standard error may be more than 2.5 times the written one (95 %, χ²)."""

ALIKE_IN_SHORT = (
    "A standard error of the primary outcome is smaller than the measurement alone would make it: riders were alike by"
    " chance, and the answer is surer of itself than it can be."
)
FEW_IN_SHORT = "With so few riders it is left to chance how large a standard error they show."
"""Both cautions as reasons to doubt a page."""


def below_floor(analysis: StudyAnalysis, outcome: Outcome) -> pd.DataFrame:
    """Return the rows of `effect_floor` whose standard error is smaller than the measurement alone would make it.

    "Overall" comes first; an outcome without budgets, or without an effect, has none.
    """
    try:
        frame = effect_floor(analysis, outcome)
    except Refusal:
        return pd.DataFrame(columns=["intensity"])
    below = frame[frame["se"] < frame["floor"]]
    return below.sort_values(
        "intensity", key=lambda names: names != OVERALL, kind="stable", ignore_index=True
    )


def floor_tables(analysis: StudyAnalysis, outcome: Outcome) -> list[TableExhibit]:
    """The table that `floor_cautions` speaks of, for an outcome whose floor the page does not show anyway."""
    return [floor_table(analysis, outcome)] if len(below_floor(analysis, outcome)) else []


def has_few_riders(effect: Estimate) -> bool:
    """Whether an estimate rests on so few riders that its standard error is little known."""
    return effect.df < FEW_DF


def floor_cautions(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say where the written standard error is below the measuring floor, which of both to trust, and what follows."""
    rows = below_floor(analysis, outcome).to_dict("records")
    if not rows:
        return []
    called, unit = analysis.study.settings.intensity_label, unit_after(outcome)
    first, *others = rows

    def where(row) -> str:
        name = row["intensity"]
        return name if name == OVERALL else f"at {called(name)}"

    def shown(row, name: str) -> str:
        return f"{show_number(row[name], decimals_for(row['se' if name == 'se' else 'floor']))}{unit}"

    low = show_number(first["low"], decimals_for(first["floor"]))
    words = [
        f"Not to be relied on as it stands: the standard error of {outcome.label}, {where(first)}, {shown(first, 'se')},"
        f" is smaller than the measuring floor of the same estimate, {shown(first, 'floor')}. What the measurement alone"
        " does to the trials makes riders differ by more, so these were alike by chance, unless the budgets of the trials"
        f" are too wide. Trust the floor: by it the 95 % interval is {low} to {shown(first, 'high')} and the verdict"
        f" {first['verdict']}."
    ]
    if others:
        each = "; ".join(
            f"{where(row)} (standard error {shown(row, 'se')}, floor {shown(row, 'floor')}: by the floor {row['verdict']})"
            for row in others
        )
        words.append(f"The same holds {each}.")
    return words


def agreement_cautions(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say beside analyses that agree what none of them sees, where a standard error is below the floor."""
    if not len(below_floor(analysis, outcome)):
        return []
    return [
        "All of them take riders as they are: none sees that the measurement alone would make them differ by more, so their"
        " agreement is no answer to that."
    ]


def few_riders(outcome: Outcome, effect: Estimate) -> list[str]:
    """Say that few riders leave the standard error little known, and what the intervals then rest on."""
    if not has_few_riders(effect):
        return []
    few = f"Few riders (n = {effect.n}, df = {effect.df:g})"
    if not effect.se > 0:
        return [f"{few}: that so few do not vary says little."]
    unit, decimals, bounds = unit_after(outcome), decimals_for(effect.se), se_interval(effect)
    se, low, high = (show_number(value, decimals) for value in (effect.se, bounds.low, bounds.high))
    return [
        f"{few}: the standard error, {se}{unit}, is little known – one of {low} to {high}{unit} is compatible with the data"
        " (95 % interval by χ²) – and riders who are alike by chance make it too small. The intervals allow for that only"
        " as far as contrasts are normally distributed, which so few cannot show."
    ]


def without_cautions(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say what the effect is without the trials used under caution, where there are any."""
    try:
        effect = analysis.effect_without_caution(outcome)
    except Refusal as refusal:
        return [f"Without trials under caution nothing can be said: {refusal}."]
    if effect is None:
        return []
    overall = effect.overall
    shown = show_number(overall.value, decimals_for(overall.se), signed=True)
    return [
        f"Without them, {outcome.label}, oval − round, overall, is {shown}{unit_after(outcome)}"
        f" ({show_interval(overall.interval(), overall.se, outcome.difference_unit)}), verdict"
        f" {judge(overall, outcome.smallest_effect).word}."
    ]
