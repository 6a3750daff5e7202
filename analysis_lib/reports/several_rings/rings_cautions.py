"""What a reader must know of the standard errors of several rings before their verdicts."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.study.answer_cautions import (
    ALIKE_IN_SHORT,
    FEW_IN_SHORT,
    few_riders,
    has_few_riders,
)
from analysis_lib.reports.study.effect_exhibits import name_with_unit
from analysis_lib.statistics.estimates import Estimate, decimals_for, show_number
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.statistics.standard_errors import se_interval
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after


def floor_cautions(analysis: RingsAnalysis, outcome: Outcome, effect: RingsEffect) -> list[str]:
    """Say where a standard error is smaller than measuring alone would make it; nothing for outcomes without budgets."""
    called, unit = analysis.study.settings.intensity_label, unit_after(outcome)
    each = [
        f"{row['ring']} {called(row['intensity'])} ({show_number(row['se'], decimals_for(row['se']))}{unit}, floor"
        f" {show_number(row['floor'], decimals_for(row['floor']))}{unit})"
        for row in _below_floor(analysis, outcome, effect).to_dict("records")
    ]
    if not each:
        return []
    return [
        f"Not to be relied on as they stand: standard errors of {outcome.label} that are smaller than the measuring floor"
        f" of the same estimate – {'; '.join(each)}. What the measurement alone does to the trials makes riders differ by"
        " more, so these were alike by chance, unless the budgets of the trials are too wide: trust the floor, and take no"
        " verdict from them."
    ]


def _below_floor(analysis: RingsAnalysis, outcome: Outcome, effect: RingsEffect) -> pd.DataFrame:
    """The contrasts whose standard error is smaller than the measurement alone would make it."""
    try:
        floors = analysis.floors(outcome, effect)
    except Refusal:
        return pd.DataFrame()
    return floors[floors["se"] < floors["floor"]]


def few_riders_sentences(outcome: Outcome, effect: RingsEffect) -> list[str]:
    """Say that few riders leave the standard errors little known, by that of the ring with the largest."""
    _, widest = _widest(effect)
    return few_riders(outcome, widest)


def few_riders_tables(outcome: Outcome, effect: RingsEffect) -> list[TableExhibit]:
    """Give how well that standard error is known, where few riders leave it little known."""
    ring, widest = _widest(effect)
    if not (has_few_riders(widest) and widest.se > 0):
        return []
    around = se_interval(widest)
    row = {
        "question": f"standard error, {ring} − {effect.reference}, overall",
        "estimate": widest.se,
        "low": around.low,
        "high": around.high,
        "level": 100 * around.level,
        "df": widest.df,
        "n": widest.n,
    }
    return [
        TableExhibit(
            f"few_riders_{outcome.name}",
            pd.DataFrame([row]),
            f"{name_with_unit(outcome)}: how well so few riders tell a standard error (by χ²).",
            {"level": "level (%)", "n": "riders"},
            {"estimate": 3, "low": 3, "high": 3, "level": 0, "df": 1},
        )
    ]


def _widest(effect: RingsEffect) -> tuple[str, Estimate]:
    """The ring with the largest standard error overall; they share one error and its degrees of freedom."""
    return max(effect.overall.items(), key=lambda found: found[1].se)


def cautions_in_short(analysis: RingsAnalysis) -> list[str]:
    """Name these cautions among the reasons to doubt the page; none where there is no answer."""
    outcome = analysis.outcomes[0]
    try:
        effect = analysis.rings_effect(outcome)
    except Refusal:
        return []
    words = []
    if len(_below_floor(analysis, outcome, effect)):
        words.append(ALIKE_IN_SHORT)
    if has_few_riders(_widest(effect)[1]):
        words.append(FEW_IN_SHORT)
    return words
