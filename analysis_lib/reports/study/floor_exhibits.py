"""The measuring floor of a study: how much of an effect's uncertainty the measurement alone accounts for."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.measuring_floor import measuring_floor
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.corrections.trial_budget import DECLARED, undeclared
from analysis_lib.study.declared.protocol import Outcome, in_brackets

IN_COMMON = {
    DECLARED[key] for key in ("slope_uncertainty_pct", "angle_zero_uncertainty_deg", "delay_uncertainty_ms")
}
"""Uncertainties of a recorder that both rings share, in the words of `undeclared`: the floor does without them."""


@once
def effect_floor(analysis: StudyAnalysis, outcome: Outcome) -> pd.DataFrame:
    """Return, by intensity and overall, the standard error of an effect beside what the measurement alone would give.

    Columns ``intensity, floor, riders, estimate, se, share_of_se``, then the 95 % interval ``low, high`` and the
    ``verdict`` by the larger of both, which is the least that the standard error can be.

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
    own = {str(name): estimate for name, estimate in effect.estimates.items()}
    rows = []
    for row in together.to_dict("records"):
        estimate = replace(own[row["intensity"]], se=max(row["se"], row["floor"]))
        bounds = estimate.interval(0.95)
        rows.append((bounds.low, bounds.high, judge(estimate, outcome.smallest_effect).word))
    by_larger = pd.DataFrame(rows, columns=["low", "high", "verdict"])
    return pd.concat([together.assign(share_of_se=together["floor"] / together["se"]), by_larger], axis=1)


def floor_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Show the measuring floor beside the effect and its standard error."""
    return TableExhibit(
        f"floor_{outcome.name}",
        effect_floor(analysis, outcome),
        f"Measuring floor of {outcome.label}, oval − round{in_brackets(outcome.difference_unit)}: the standard error"
        " by zero torque, timing and turn-to-turn variation alone. Trials between the same zero checks share the zero's"
        " error, so that it does not average out overall. Errors common to both rings – slope, angle – are left out."
        " Interval and verdict: by the larger of floor and standard error.",
        {
            "floor": "measuring floor",
            "estimate": "oval − round",
            "se": "standard error",
            "share_of_se": "floor / standard error",
            "low": "95 % low, by the larger",
            "high": "95 % high, by the larger",
            "verdict": "verdict by the larger",
        },
        {"floor": 3, "estimate": 3, "se": 3, "share_of_se": 2, "low": 3, "high": 3},
    )


def floor_sentences(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say whether the measurement limits the study, and what the budgets leave out."""
    frame = effect_floor(analysis, outcome)
    largest = float(frame["share_of_se"].max())
    if largest > 1:
        words = [
            f"At least one standard error of {outcome.label} is smaller than the measurement alone would make it; the"
            " sentences beside the effect say which, and what follows. No analysis can see an effect much smaller than"
            " the floor."
        ]
    else:
        words = [
            f"The measurement alone accounts for at most {show_number(100 * largest, 0)} % of the standard error"
            f" of {outcome.label}, overall and at any intensity; the rest is how riders differ from period to period and"
            " from each other. No analysis can see an effect much smaller than the floor."
        ]
    settings = analysis.study.settings
    missing = {part for recorder in settings.recorders.values() for part in undeclared(recorder)} - IN_COMMON
    if missing:
        words.append(f"Not declared for every recorder, and counted as exact: {', '.join(sorted(missing))}.")
    return words
