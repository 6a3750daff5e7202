"""Sentences of the study's page: no stronger than the intervals they come from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study.answer_cautions import (
    ALIKE_IN_SHORT,
    FEW_IN_SHORT,
    below_floor,
    few_riders,
    floor_cautions,
    has_few_riders,
    without_cautions,
)
from analysis_lib.reports.study.doubtful_rings import without_doubtful_rings
from analysis_lib.reports.study.exclusion_exhibits import excluded_riders, listed_trials
from analysis_lib.reports.study.interim import interim_sentences, unfinished_sentences
from analysis_lib.reports.study.sister_analyses import LEVEL
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.study.verdict_doubts import intensity_verdicts, verdict_doubts
from analysis_lib.reports.trials.caution_exhibits import caution_sentences
from analysis_lib.reports.trials.far_cells import far_sentences
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.reports.trials.scale_exhibits import first_doubts
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.statistics.contrasts import OVERALL_RULE
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.equivalence import ZERO, judge
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
            *caution_sentences(analysis),
        ]
    verdict = judge(effect.overall, outcome.smallest_effect)
    return [
        *first_doubts(analysis),
        *without_doubtful_rings(analysis, outcome),
        *interim_sentences(analysis.study),
        *floor_cautions(analysis, outcome),
        f"Primary outcome: {verdict.sentence()}",
        *few_riders(outcome, effect.overall),
        *unfinished_sentences(analysis.study),
        *unread_sentences(analysis.study, outcome=outcome),
        *far_sentences(analysis.study, outcome),
        *_without_value(analysis, outcome),
        *intensity_verdicts(analysis, outcome, effect),
        *verdict_doubts(analysis, outcome),
        *caution_sentences(analysis),
        *without_cautions(analysis, outcome),
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
    few = outcome.primary or effect.overall.df < analysis.effect(analysis.outcomes[0]).overall.df
    return [
        *floor_cautions(analysis, outcome),
        judge(effect.overall, outcome.smallest_effect).sentence(),
        *(few_riders(outcome, effect.overall) if few else []),
        *unread_sentences(analysis.study, outcome=outcome),
        *far_sentences(analysis.study, outcome),
        *_without_value(analysis, outcome),
        f"{direction[outcome.better]}. {' '.join(intensity_sentences(effect))}".strip(),
    ]


def about_others(outcomes: Sequence[Outcome]) -> str:
    """Say what outcomes beside the primary one are worth, or that there are none."""
    if not outcomes:
        return "No other outcome is declared in study.toml."
    return (
        "These were declared too, but the study was not planned on them: they describe, they do not decide."
    )


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
    short = " Even that one is above the level of the test: relabelling cannot decide here."
    short = short if test.smallest_p >= LEVEL else ""
    return [
        f"{test.sentence()}.",
        (
            f"The primary analysis gives {show_p(primary.p, ZERO)}. Relabelling assumes nothing about distributions, but p"
            f" cannot fall below the smallest possible one, however large the effect.{short}{why if apart else ''}"
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


def doubts(analysis: StudyAnalysis) -> list[str]:
    """List reasons to doubt the page, from the data at hand."""
    cautions = _cautions_in_short(analysis)
    unread = unread_sentences(analysis.study)
    words = [
        *_weakened(analysis),
        *cautions,
        *unread,
        *far_sentences(analysis.study),
        _analysed(analysis, sound=not (cautions or unread)),
        "Riders know which ring they ride: expectation can move any outcome that effort can move.",
        (
            "The ring effect is averaged over riders; nothing here shows that one rider responds and another"
            " does not."
        ),
    ]
    if len(analysis.outcomes) > 2:
        words.append("Secondary outcomes are not adjusted against each other: read them as a description.")
    return [*_one_sequence(analysis), *words]


def _analysed(analysis: StudyAnalysis, sound: bool) -> str:
    """Count riders and lost trials; where nothing is lost, that is no reason to doubt unless there are others."""
    lost = int((listed_trials(analysis)["state"] == NOT_USED).sum())
    riders, excluded = show_count(len(analysis.tables), "rider"), excluded_riders(analysis)
    failed = len(analysis.left_out) - len(excluded)
    if not (lost or analysis.left_out):
        return f"{riders} analysed, with every listed trial{'; that is no reason to doubt' if sound else ''}."
    parts = [f"{riders} analysed"]
    parts += [f"every trial of {', '.join(excluded)} is excluded"] if excluded else []
    parts += [f"{failed} could not be analysed"] if failed else []
    return f"{'; '.join([*parts, show_count(lost, 'listed trial')])} not used."


def _cautions_in_short(analysis: StudyAnalysis) -> list[str]:
    """Name the cautions that stand beside the answer; none where it could not be given."""
    primary = analysis.outcomes[0]
    words = []
    if len(below_floor(analysis, primary)):
        words.append(ALIKE_IN_SHORT)
    try:
        if has_few_riders(analysis.effect(primary).overall):
            words.append(FEW_IN_SHORT)
    except Refusal:
        pass
    return [*words, *caution_sentences(analysis)]


def _weakened(analysis: StudyAnalysis) -> list[str]:
    """Name what weakens the verdict; without one there is nothing to weaken."""
    try:
        return verdict_doubts(analysis, analysis.outcomes[0])
    except Refusal:
        return []


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
