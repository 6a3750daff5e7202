"""The measuring floor of a study: how much of an effect's uncertainty the measurement alone accounts for."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.rider.budgets import COMMON, measuring_floor
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.corrections.trial_budget import undeclared
from analysis_lib.study.declared.protocol import Outcome


def effect_floor(analysis: StudyAnalysis, outcome: Outcome) -> pd.DataFrame:
    """Return, by intensity, the standard error of an effect beside the part that the measurement alone explains.

    Raises
    ------
    Refusal
        For an outcome that is not measured from the recordings' torque and angle.
    """
    budgets = analysis.budgets_of(outcome)
    effect = analysis.effect(outcome)
    floor = measuring_floor(budgets, effect.contrasts)
    frame = effect.to_frame()[["intensity", "estimate", "se"]].astype({"intensity": str})
    together = floor.merge(frame, on="intensity")
    return together.assign(share_of_se=together["floor"] / together["se"])


def floor_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Show the measuring floor beside the effect and its standard error."""
    return TableExhibit(
        f"floor_{outcome.name}",
        effect_floor(analysis, outcome),
        f"Measuring floor of {outcome.label}, oval − round ({outcome.difference_unit}): the standard error that zero"
        " torque, timing and turn-to-turn variation would give by themselves, beside the estimate and its"
        " standard error from rider to rider. Slope and angle errors of one recorder are common to both"
        " rings and left out.",
        {
            "floor": "measuring floor",
            "estimate": "oval − round",
            "se": "standard error",
            "share_of_se": "floor / standard error",
        },
        {"floor": 3, "estimate": 3, "se": 3, "share_of_se": 2},
    )


def floor_sentences(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say whether the measurement limits the study, and what the budgets leave out."""
    frame = effect_floor(analysis, outcome)
    largest = float(frame["share_of_se"].max())
    words = [
        f"The measurement alone accounts for at most {show_number(100 * largest, 0)} % of the standard error"
        f" of {outcome.label} at any intensity; the rest is how riders differ from period to period and from"
        " each other. No analysis can see an effect much smaller than the floor."
    ]
    settings = analysis.study.settings
    missing = sorted(
        {part for recorder in settings.recorders.values() for part in undeclared(recorder)} - set(COMMON)
    )
    if missing:
        words.append(f"Not declared for every recorder, and counted as exact: {', '.join(missing)}.")
    return words
