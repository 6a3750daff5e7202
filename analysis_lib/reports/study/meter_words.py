"""How much of a study's effect a meter could have made up, in sentences."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.shape_words import shape_meter_doubts
from analysis_lib.reports.trials.turned_words import meter_doubts
from analysis_lib.statistics.estimates import show_count, show_number


def meter_sentences(analysis: StudyAnalysis) -> list[str]:
    """Say how much of oval − round a meter could have made up, before any effect is read."""
    gaps = analysis.meter_gaps()
    if gaps.empty:
        return [
            "No rider's recording holds the torque of both legs, so what a meter could have made up is not"
            " known: treat any difference in power as possibly the meter's."
        ]
    overall = gaps[gaps["intensity"] == "overall"]
    one = overall[overall["sectors"] == 1].iloc[0]
    worst = overall.iloc[int(overall["mean_W"].abs().argmax())]
    contradicted = meter_doubts(analysis.trials) + shape_meter_doubts(
        analysis.study.settings, analysis.trials
    )
    more = (
        f"More readings can be worse: {_watts(worst.mean_W)} at {worst.sectors:.0f} a turn."
        if abs(worst.mean_W) > 1.01 * abs(one.mean_W)
        else "None of the meters with more readings a turn errs by noticeably more."
    )
    return [
        (
            "If the riders did exactly the same on both rings, a meter that averages torque over time and"
            f" learns crank speed once a turn would still show {_watts(one.mean_W)} of oval − round with"
            f" these rings, mounts and torques (mean over {show_count(int(one.riders), 'rider')}, ranging from"
            f" {_watts(one.lowest_W)} to {_watts(one.highest_W)}; rigid drivetrain, constant resistance,"
            f" stated inertia). {more}"
        ),
        (
            "Power in this report is work over the turn divided by its duration, which has no such error;"
            " that holds as far as the recorded angle, torque and zero are true."
        ),
        *(contradicted or _meter_against_effect(analysis, gaps[gaps["sectors"] == 1])),
    ]


def _meter_against_effect(analysis: StudyAnalysis, gaps: pd.DataFrame) -> list[str]:
    """Hold the meter's error against the interval of every measured power, at each intensity and overall."""
    errors = {str(row["intensity"]): float(row["mean_W"]) for row in gaps.to_dict("records")}
    words = []
    for outcome in analysis.outcomes:
        if outcome.unit != "W" or outcome.source != "signals":
            continue
        try:
            effect = analysis.effect(outcome)
        except Refusal:
            continue
        inside: list[str] = []
        outside: list[str] = []
        for intensity, estimate in effect.estimates.items():
            error = errors.get(str(intensity))
            if error is not None:
                bounds = estimate.interval(0.95)
                (inside if bounds.low <= error <= bounds.high else outside).append(
                    f"{analysis.study.settings.intensity_label(intensity)} ({_watts(error)})"
                )
        if inside:
            words.append(
                f"{outcome.label}: at {', '.join(inside)} the error lies inside the effect's 95 % interval,"
                " so that a study with such a meter could have found nothing but its meter there."
            )
        if outside:
            words.append(
                f"{outcome.label}: at {', '.join(outside)} the error lies outside the effect's 95 % interval:"
                " what was measured here is not what such a meter would have shown of itself."
            )
    return words


def _watts(value: float) -> str:
    return f"{show_number(value, 2, signed=True)} W"
