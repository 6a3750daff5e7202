"""Sentences of the study's page: no stronger than the intervals they come from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study.doubtful_rings import without_doubtful_rings
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.scale_exhibits import first_doubts
from analysis_lib.reports.trials.turned_words import meter_doubts
from analysis_lib.statistics.contrasts import OVERALL_RULE
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import decimals_for, show_count, show_number, show_p
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_deviations import deviation_sentences
from analysis_lib.study.planning.protocol_text import unit_after


def answer(analysis: StudyAnalysis) -> list[str]:
    """Answer the study's question with the primary outcome, overall and at each intensity."""
    outcome = analysis.outcomes[0]
    try:
        effect = analysis.effect(outcome)
    except Refusal as refusal:
        return [
            *first_doubts(analysis),
            f"This study cannot answer its question for {outcome.label}: {refusal}",
        ]
    verdict = judge(effect.overall, outcome.smallest_effect)
    table = effect.verdicts(outcome.smallest_effect)
    single = table[table["intensity"] != "overall"]
    called = analysis.study.settings.intensity_label
    each = ", ".join(f"{called(row.intensity)} {row.verdict}" for row in single.itertuples())
    return [
        *first_doubts(analysis),
        *without_doubtful_rings(analysis, outcome),
        f"Primary outcome: {verdict.sentence()}",
        *_without_value(analysis, outcome),
        f"Each intensity looked at by itself: {each}.",
        *_one_sequence(analysis),
    ]


def _one_sequence(analysis: StudyAnalysis) -> list[str]:
    """Say that ring and time are one where all riders rode the rings in the same order."""
    ridden = sorted(set(analysis.trials["sequence"]))
    if len(ridden) > 1:
        return []
    return [
        f"All riders rode one sequence ({ridden[0]}), so whatever changed with time – practice, fatigue, the"
        " weather – is inside every difference above: none of them can be ascribed to the ring."
    ]


def effect_sentences(analysis: StudyAnalysis, outcome: Outcome, effect: RingEffect) -> list[str]:
    """Say what one outcome shows, with everything a reader must know to weigh it."""
    direction = {
        "higher": "Higher is better",
        "lower": "Lower is better",
        "neither": "Neither direction is better",
    }
    return [
        judge(effect.overall, outcome.smallest_effect).sentence(),
        *_without_value(analysis, outcome),
        f"{direction[outcome.better]}. {' '.join(intensity_sentences(effect))}".strip(),
    ]


def _without_value(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say where no rider has a value, so that "overall" is over the other intensities."""
    lacking = analysis.without_value(outcome)
    if not lacking:
        return []
    called = analysis.study.settings.intensity_label
    there = [called(name) for name in analysis.levels(outcome) if name not in lacking]
    return [
        f"No rider has a value of {outcome.label} at {', '.join(map(called, lacking))}: overall is over"
        f" {', '.join(there)} alone, which is not what was declared."
    ]


def intensity_sentences(effect: RingEffect) -> list[str]:
    """Say whether the effect changes with intensity: the trend, then the test of any change at all."""
    if len(effect.intensities) < 2:
        return []
    trend = f"{replace(effect.trend(), quantity='Change with intensity').sentence()}."
    try:
        return [trend, f"{effect.interaction().sentence()}."]
    except Refusal as refusal:
        return [trend, f"Any change at all could not be tested: {refusal}."]


def relabelled(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Hold the effect against the same sequences dealt otherwise, and that beside the primary analysis."""
    test = analysis.relabelling(outcome)
    primary = analysis.effect(outcome).overall
    apart = abs(test.estimate - primary.value) > 1e-9 * max(abs(primary.value), primary.se)
    why = (
        f" Its estimate is not quite the primary one ({show_number(primary.value, decimals_for(primary.se), signed=True)}"
        f"{unit_after(outcome)}), because a period that lacks a value at one intensity counts nowhere in it."
    )
    return [
        f"{test.sentence()}.",
        (
            f"The primary analysis gives {show_p(primary.p)}. Relabelling assumes nothing about distributions, but p cannot"
            f" fall below the smallest possible one, however large the effect.{why if apart else ''}"
        ),
    ]


def deviations(analysis: StudyAnalysis) -> list[str]:
    """List where the study left its frozen protocol."""
    return deviation_sentences(analysis.study)


def notes(analysis: StudyAnalysis, effect: RingEffect) -> list[str]:
    """Say what a reader must know of an effect, riders left out included."""
    called = analysis.study.settings.intensity_label
    remarks = (remark.sentence(called) for remark in effect.remarks)
    return [*left_out_sentences(effect, called), *(words[:1].upper() + words[1:] for words in remarks)]


def left_out_sentences(effect: RingEffect, called: Callable[[object], str] = str) -> list[str]:
    """Say who is out of an estimate and why; `called` says what the page calls an intensity."""
    if effect.left_out.empty:
        return ["Every rider analysed contributes to every estimate."]
    lines = [f"{row.rider}, {called(row.intensity)}: {row.reason}" for row in effect.left_out.itertuples()]
    return ["Left out of estimates: " + "; ".join(lines) + "."]


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
    contradicted = meter_doubts(analysis.trials)
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


def doubts(analysis: StudyAnalysis) -> list[str]:
    """List reasons to doubt the page, from the data at hand."""
    lost = int((analysis.trials["state"] == "not used").sum())
    riders = len(analysis.tables)
    words = [
        (
            f"{show_count(riders, 'rider')} analysed, {len(analysis.left_out) or 'none'} could not be;"
            f" {show_count(lost, 'listed trial')} not used."
            if lost or analysis.left_out
            else f"{show_count(riders, 'rider')} analysed, with every listed trial; that is no reason to doubt."
        ),
        "Riders know which ring they ride: expectation can move any outcome that effort can move.",
        (
            "The ring effect is averaged over riders; nothing here shows that one rider responds and another"
            " does not."
        ),
        "Secondary outcomes are not adjusted against each other: read them as a description.",
    ]
    return [*_one_sequence(analysis), *words]


def methods(analysis: StudyAnalysis) -> list[str]:
    """Generate the methods text from what was done."""
    settings = analysis.study.settings
    sequences = ", ".join(f"{name} ({'-'.join(rings)})" for name, rings in settings.design.sequences.items())
    words = [
        (
            f"Randomised crossover; sequences: {sequences}; intensities:"
            f" {', '.join(settings.intensity_labels.values())}. Torque was averaged over 360 one-degree"
            " bins by exact integration over angle in whole turns cut at top dead centre; power is work over"
            " the turn divided by its duration; trial values are means over kept turns with standard errors that"
            " allow for correlation from turn to turn."
        ),
        (
            "Each rider gives one contrast an intensity, mean of the oval periods minus mean of the round"
            f" periods; {OVERALL_RULE}. The estimate is the unweighted mean of the sequence means (Senn 2002, ch. 3)."
            " Curves: largest-|t| band over relabelled sequences or flipped signs, adjusted for sequence where three riders"
            " share one (Nichols & Holmes 2002). Intensities together: Dunn's intervals and"
            " Holm's p. Beside it: relabelling of sequences, mixed models (REML, Kenward & Roger 1997), fixed"
            " riders by least squares, the log scale; individual response from replicate periods (Senn 2016)."
        ),
    ]
    try:
        words.append(f"Primary analysis: {analysis.effect(analysis.outcomes[0]).method}.")
    except Refusal:
        words.append("The primary analysis could not be made; the page says why.")
    return words
