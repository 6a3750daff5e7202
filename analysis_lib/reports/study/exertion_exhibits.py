"""Was the effort the same on both rings? What was set, what was free, and what was ridden."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.gas_exhibits import in_order
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.declared.protocol import Intensity, Outcome

MET_PCT = 2.0
"""How near the mean power must come to the power asked for; common practice, no source."""

EXERTION = "rpe"
"""The outcome by which riders rate their exertion."""

SHOWN = {
    "power_W": "power (W)",
    "target_power_W": "asked for (W)",
    "power_W_off_pct": "off by (%)",
    "cadence_rpm": "cadence (rpm)",
    "target_cadence_rpm": "asked for (rpm)",
    "cadence_rpm_off_pct": "cadence off by (%)",
    EXERTION: "perceived exertion",
}
MEASURED = {"power_W": "target_power_W", "cadence_rpm": "target_cadence_rpm"}


def exertion_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give power, cadence and rated exertion on each ring at each intensity, beside what was asked for."""
    rows = analysis.values_of(*MEASURED, EXERTION)
    by_rider = rows.groupby(["intensity", "ring", "quantity", "rider"], observed=True)["value"].mean()
    means = by_rider.groupby(["intensity", "ring", "quantity"]).mean().unstack("quantity")
    if means.empty:
        raise Refusal("power, cadence and exertion", "no value", "one at least", "record power")
    asked = {part.name: part for part in analysis.study.settings.intensities}
    frame = means.reset_index().rename_axis(columns=None)
    for name, target in MEASURED.items():
        frame[target] = [getattr(asked[str(intensity)], target) for intensity in frame["intensity"]]
        frame[f"{name}_off_pct"] = 100 * (frame.get(name, float("nan")) / frame[target].astype(float) - 1)
    frame = in_order(analysis, frame)
    known = [name for name in SHOWN if name in frame and frame[name].notna().any()]
    return TableExhibit(
        "exertion",
        frame[["intensity", "ring", *known]],
        f"What was ridden on each ring at each intensity, {_mean_of(analysis)} {_beside(known)}",
        SHOWN,
        {"power_W": 1, "power_W_off_pct": 1, "cadence_rpm": 1, "cadence_rpm_off_pct": 1, EXERTION: 2},
    )


def _mean_of(analysis: StudyAnalysis) -> str:
    if len(analysis.tables) == 1:
        return "mean over the rider's periods."
    return "mean over the riders' own means; a rider who lacks one ring at an intensity still counts on the other."


def _beside(columns: list[str]) -> str:
    """Say what stands beside it, or that nothing was asked for."""
    named = {"target_power_W": "power", "target_cadence_rpm": "cadence"}
    asked = [word for name, word in named.items() if name in columns]
    if not asked:
        return "study.toml sets no target of power or cadence to compare it with."
    return f"Beside it the {' and '.join(asked)} that study.toml says was asked for, where it says any."


def exertion_cautions(
    analysis: StudyAnalysis, compare: Callable[[Outcome], list[str]] | None = None
) -> list[str]:
    """Say where power was set and where it was free, whether it was met, and what follows for the outcomes.

    ``compare`` says how the rings compare by one outcome; left out, it is the verdict on oval − round.
    """
    frame = exertion_table(analysis).frame
    intensities = analysis.study.settings.intensities
    free = [part for part in intensities if part.target_power_W is None]
    words = [
        _about_target(part, frame[frame["intensity"] == part.name])
        for part in intensities
        if part.target_power_W is not None
    ]
    return [*words, *_about_free(free), *_about_exertion(analysis, compare or _verdict_of(analysis))]


def _about_target(asked: Intensity, rows: pd.DataFrame) -> str:
    off = rows.get("power_W_off_pct", pd.Series(dtype=float)).dropna()
    ridden = ", ".join(
        f"{show_number(float(row['power_W']), 1)} W on the {row['ring']} ring"
        for row in rows.to_dict("records")
    )
    begun = f"At {asked.label} {asked.target_power_W:g} W were asked for"
    held = (
        "Power was set there, so a difference in power shows how well it was held and not what the ring does."
    )
    if off.empty:
        return f"{begun}; no power was recorded. {held}"
    if off.abs().max() <= MET_PCT:
        return f"{begun} and ridden: {ridden}. {held}"
    return (
        f"{begun} and not met: {ridden}. The effort was not the one that was planned, and whatever follows power, such"
        f" as heart rate, oxygen uptake and exertion, carries that with it. {held}"
    )


def _about_free(free: list[Intensity]) -> list[str]:
    if not free:
        return []
    return [
        f"No power was set at {', '.join(part.label for part in free)}: power was free, and riders who know their ring"
        " judged the effort themselves. What follows power, such as heart rate and metabolic power, carries any"
        " difference in power with it, and is no effect of the ring at equal power."
    ]


def _verdict_of(analysis: StudyAnalysis) -> Callable[[Outcome], list[str]]:
    return lambda outcome: [judge(analysis.effect(outcome).overall, outcome.smallest_effect).sentence()]


def _about_exertion(analysis: StudyAnalysis, compare: Callable[[Outcome], list[str]]) -> list[str]:
    """Say whether rated exertion itself differs between the rings, where it is an outcome."""
    outcome: Outcome | None = next((part for part in analysis.outcomes if part.name == EXERTION), None)
    if outcome is None:
        return [
            "Riders' own rating of their exertion is no outcome of this study: whether the effort was the same is not"
            " shown."
        ]
    if len(analysis.tables) == 1:
        return [f"Whether the effort was the same stands below, where {outcome.label} is an outcome."]
    try:
        said = " ".join(compare(outcome))
    except Refusal as refusal:
        return [f"Whether exertion was the same is not known: {refusal}"]
    return [f"Whether the effort was the same, as riders rated it: {said}"]
