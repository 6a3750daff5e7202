"""How much of a study's effect a meter could have made up, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.scale_exhibits import meter_cautions
from analysis_lib.statistics.estimates import Interval, show_count, show_number
from analysis_lib.study.declared.protocol import Outcome

BoundsOf = Callable[[Outcome], Mapping[str, Interval]]


def meter_sentences(analysis: StudyAnalysis, bounds_of: BoundsOf | None = None) -> list[str]:
    """Say how much of oval − round a meter could have made up, before any effect is read.

    Parameters
    ----------
    analysis : StudyAnalysis
    bounds_of : callable
        The 95 % intervals of an outcome's effect by intensity; left out, those of the effect over riders.
    """
    gaps = analysis.meter_gaps()
    if gaps.empty:
        return [
            "No rider's recording holds the torque of both legs, so what a meter could have made up is not"
            " known: treat any difference in power as possibly the meter's."
        ]
    overall = gaps[gaps["intensity"] == "overall"]
    one = overall[overall["sectors"] == 1].iloc[0]
    who = (
        f"with the rings, mounts and torques of rider {next(iter(analysis.tables))} ("
        if len(analysis.tables) == 1
        else f"with these rings, mounts and torques (mean over {show_count(int(one.riders), 'rider')}, ranging from"
        f" {_watts(one.lowest_W)} to {_watts(one.highest_W)}; "
    )
    worst = overall.iloc[int(overall["mean_W"].abs().argmax())]
    contradicted = meter_cautions(analysis)
    more = (
        f"More readings can be worse: {_watts(worst.mean_W)} at {worst.sectors:.0f} a turn."
        if abs(worst.mean_W) > 1.01 * abs(one.mean_W)
        else "None of the meters with more readings a turn errs by noticeably more."
    )
    return [
        (
            "With exactly the same riding on both rings, a meter that averages torque over time and learns crank speed once"
            f" a turn would still show {_watts(one.mean_W)} of oval − round {who}rigid drivetrain, constant resistance,"
            f" stated inertia). {more}"
        ),
        (
            "Power in this report is work over the turn divided by its duration, which has no such error;"
            " that holds as far as the recorded angle, torque and zero are true."
        ),
        *(contradicted or _meter_against_effect(analysis, gaps[gaps["sectors"] == 1], bounds_of)),
    ]


def _meter_against_effect(
    analysis: StudyAnalysis, gaps: pd.DataFrame, bounds_of: BoundsOf | None
) -> list[str]:
    """Hold the meter's error against the interval of every measured power, at each intensity and overall."""
    errors = {str(row["intensity"]): float(row["mean_W"]) for row in gaps.to_dict("records")}
    words = []
    for outcome in analysis.outcomes:
        if outcome.unit != "W" or outcome.source != "signals":
            continue
        try:
            intervals = bounds_of(outcome) if bounds_of else _over_riders(analysis, outcome)
        except Refusal:
            continue
        inside: list[str] = []
        outside: list[str] = []
        for intensity, bounds in intervals.items():
            error = errors.get(str(intensity))
            if error is not None:
                (inside if bounds.low <= error <= bounds.high else outside).append(
                    f"{analysis.study.settings.intensity_label(intensity)} ({_watts(error)})"
                )
        if inside:
            words.append(
                f"{outcome.label}: at {', '.join(inside)} the error lies inside the effect's 95 % interval,"
                " so what a study with such a meter finds there may be nothing but the meter's error."
            )
        if outside:
            words.append(
                f"{outcome.label}: at {', '.join(outside)} the error lies outside the effect's 95 % interval:"
                " what was measured here is not merely such a meter's error."
            )
    return words


def _over_riders(analysis: StudyAnalysis, outcome: Outcome) -> dict[str, Interval]:
    estimates = analysis.effect(outcome).estimates
    return {str(name): estimate.interval(0.95) for name, estimate in estimates.items()}


def _watts(value: float) -> str:
    return f"{show_number(value, 2, signed=True)} W"
