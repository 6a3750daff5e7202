"""Sentences of the page of one rider: no stronger than so few periods allow."""

from __future__ import annotations

from functools import partial
from math import isfinite

from analysis_lib.refusals import Refusal
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study import meter_words
from analysis_lib.reports.study.interim import interim_sentences
from analysis_lib.reports.trials.caution_exhibits import caution_sentences
from analysis_lib.reports.trials.scale_exhibits import first_doubts
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.statistics.equivalence import ZERO, say_verdict
from analysis_lib.statistics.estimates import Interval, show_count, show_level, show_number, show_p
from analysis_lib.statistics.single_rider import FEWEST_PERIODS, SingleRiderEffect
from analysis_lib.statistics.trial_table import OVERALL, OVERALL_OF_PERIODS
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after

LOTS = {
    "pairs": "the ring ridden first was drawn by lot within every two successive periods",
    "free": "the oval periods were drawn by lot among all periods",
}

TWICE_THE_PERIODS = 0.5**0.5
"""Share of turns in a standard error from which trials without end leave no more than twice as many periods do."""

NOT_ADJUSTED = (
    "The intensities and the outcomes are not adjusted against each other: read them as a description."
)


def answer(analysis: SingleRiderAnalysis) -> list[str]:
    """Answer the question for this rider: the mean over intensities, then each intensity."""
    outcome = analysis.outcomes[0]
    try:
        effects = analysis.effects(outcome)
    except Refusal as refusal:
        return [
            *_made_up(analysis),
            *first_doubts(analysis),
            f"This study cannot answer its question for {outcome.label} of rider {analysis.rider}: {refusal}",
        ]
    called = analysis.study.settings.intensity_label
    own = ", ".join(
        f"{called(name)} {effect.test.verdict(outcome.smallest_effect)}"
        for name, effect in effects.items()
        if name != OVERALL
    )
    single = (
        f"Each intensity by itself, not adjusted for looking at several: {own or 'none has enough periods'}."
    )
    return [
        *_made_up(analysis),
        *first_doubts(analysis),
        *interim_sentences(analysis.study),
        *effect_sentences(analysis, outcome),
        *([single] if len(analysis.levels(outcome)) > 1 else []),
        *caution_sentences(analysis),
        "This is an answer about one rider and says nothing about others.",
    ]


def _made_up(analysis: SingleRiderAnalysis) -> list[str]:
    if not analysis.is_made_up:
        return []
    return ["No study was named: a virtual rider stands in for one, and nothing below is a finding."]


def effect_sentences(analysis: SingleRiderAnalysis, outcome: Outcome) -> list[str]:
    """Say what the schedule's test gives for the mean over intensities, its floor with it."""
    effect = analysis.effects(outcome)[OVERALL]
    test, unit = effect.test, unit_after(outcome)
    words = [
        (
            f"{outcome.label} of rider {analysis.rider}, oval − round, {_over(analysis, outcome)}:"
            f" {show_number(test.estimate, 2, signed=True)}{unit} ({_bounds(effect, unit)};"
            f" {show_count(test.n, 'period')}). {_verdict(effect, outcome, unit)}."
        )
    ]
    if test.smallest_p > 0.05:
        words.append(
            f"The lot could have given only {test.relabellings} schedules, so no effect, however large, could have had a p"
            f" below {show_number(test.smallest_p, 3)}: ride more periods."
        )
    return words


def _verdict(effect: SingleRiderEffect, outcome: Outcome, unit: str) -> str:
    """The verdict, with p behind what is said of zero, and the interval behind what is ruled out."""
    wide, smallest = effect.test.interval(0.95), outcome.smallest_effect
    word = effect.test.verdict(smallest)
    beyond = min(abs(wide.low), abs(wide.high)) >= smallest
    zero = show_p(effect.test.p, ZERO)
    large = _show(effect.test.interval(0.90), unit) if word == "equivalent" else ""
    return say_verdict(word, f"{show_number(smallest)}{unit}", effect.test.p < 0.05, beyond, zero, large)


def _over(analysis: SingleRiderAnalysis, outcome: Outcome) -> str:
    """Say which intensities the estimate is a mean of; one without any value is in no period's mean."""
    known = set(analysis.outcome_table(outcome).dropna(subset=[outcome.label])["intensity"])
    there = [name for name in analysis.levels(outcome) if name in known]
    lacking = [name for name in analysis.levels(outcome) if name not in known]
    if not lacking:
        return analysis.over_intensities(outcome)
    called = analysis.study.settings.intensity_label
    return f"{' and '.join(map(called, there))} alone (no value at {', '.join(map(called, lacking))})"


def _bounds(effect: SingleRiderEffect, unit: str) -> str:
    """The 95 % interval, or the 90 % one where so few schedules cannot give the other."""
    for level in (0.95, 0.90):
        bounds = effect.test.interval(level)
        if isfinite(bounds.low) and isfinite(bounds.high):
            return f"{_show(bounds, unit)} by randomisation over the schedule"
    return "no interval: too few schedules"


def _show(bounds: Interval, unit: str) -> str:
    low, high = show_number(bounds.low, 2), show_number(bounds.high, 2)
    return f"{show_level(bounds.level)} interval {low} to {high}{unit}"


def schedule_sentences(analysis: SingleRiderAnalysis) -> list[str]:
    """Say how the order was drawn, and how many periods there are of each ring."""
    counts = analysis.periods_ridden["ring"].value_counts()
    ridden = ", ".join(f"{counts[ring]} {ring}" for ring in ("round", "oval") if ring in counts)
    return [f"Periods with a trial: {ridden}. study.toml says that {LOTS[analysis.lot]}."]


def meter_sentences(analysis: SingleRiderAnalysis) -> list[str]:
    """Say what a meter could have made up, held against the intervals of the schedule's test."""
    return meter_words.meter_sentences(analysis, partial(_bounds_by_intensity, analysis))


def _bounds_by_intensity(analysis: SingleRiderAnalysis, outcome: Outcome) -> dict[str, Interval]:
    """The 95 % intervals by intensity, where there are schedules enough for one."""
    found = {name: effect.test.interval(0.95) for name, effect in analysis.effects(outcome).items()}
    return {name: bounds for name, bounds in found.items() if isfinite(bounds.low) and isfinite(bounds.high)}


def noise_sentences(analysis: SingleRiderAnalysis, outcome: Outcome) -> list[str]:
    """Say what trials without end would leave of each standard error, and whether twice as many periods leave less."""
    unit, called = unit_after(outcome), analysis.study.settings.intensity_label
    rows = analysis.turn_noise(outcome).dropna().to_dict("records")
    if not rows:
        return [f"{outcome.label} has no scatter of turns to hold against that of periods."]

    def shown(row, name: str) -> str:
        return f"{show_number(row[name], 2)}{unit}"

    each = "; ".join(
        f"at {called(row['intensity'])} {shown(row, 'se_endless')} of {shown(row, 'se_periods')}"
        for row in rows
    )
    better = [called(row["intensity"]) for row in rows if row["share"] < TWICE_THE_PERIODS]
    others = [called(row["intensity"]) for row in rows if row["share"] >= TWICE_THE_PERIODS]
    less = f"which leaves less at {' and '.join(better)}" if better else ""
    no_less = f"which leaves no less at {' and '.join(others)}" if others else ""
    return [
        f"Trials without end would leave, of the standard error of {outcome.label}, {each}. Twice as many periods divide it"
        f" by the square root of two, {' and '.join(part for part in (less, no_less) if part)}."
    ]


def missing_sentences(analysis: SingleRiderAnalysis, outcome: Outcome) -> list[str]:
    """Name the intensities with too few periods."""
    lacking = list(map(analysis.study.settings.intensity_label, analysis.without_effect(outcome)))
    if not lacking:
        return []
    return [
        f"No effect of their own, for fewer than {FEWEST_PERIODS} periods or values that do not vary: {', '.join(lacking)}."
    ]


def doubts(analysis: SingleRiderAnalysis) -> list[str]:
    """List reasons to doubt the page."""
    lost = int((analysis.trials["state"] == "not used").sum())
    cautions = [*caution_sentences(analysis), *unread_sentences(analysis.study)]
    many = len(analysis.outcomes) > 1 or len(analysis.levels(analysis.outcomes[0])) > 1
    return [
        *_made_up(analysis),
        _lost_words(lost, len(analysis.trials), cautions),
        *cautions,
        "The rider knows which ring is on: expectation can move any outcome that effort can move.",
        (
            "The test takes the ring to add the same in every period. If form rises over the weeks, the lot keeps the test"
            " honest, but the interval grows."
        ),
        (
            "What one ring leaves behind for the next period (carry-over) cannot be told from the ring's own effect with"
            " one rider: leave days of rest between periods."
        ),
        *([NOT_ADJUSTED] if many else []),
        "The order must have been drawn and then ridden as drawn; an order that was chosen allows no such test.",
    ]


def _lost_words(lost: int, listed: int, cautions: list[str]) -> str:
    if not lost:
        return f"All listed trials gave values{'' if cautions else ', so that is no reason to doubt'}."
    return f"Not used: {lost} of {show_count(listed, 'listed trial')}; with them schedules are lost, and the test weakens."


def methods(analysis: SingleRiderAnalysis) -> list[str]:
    """Generate the methods text from what was done."""
    drawn = analysis.study.settings.design.lot
    order = LOTS[drawn] if drawn else "how the order was drawn is not declared"
    return [
        (
            f"One rider, {show_count(len(analysis.periods_ridden), 'period')}; intensities:"
            f" {', '.join(analysis.study.settings.intensity_labels.values())}; {order}."
            " Torque was averaged over 360 one-degree bins by exact integration over angle in whole turns; power is work"
            " over the turn divided by its duration. Standard errors of turns allow for how successive turns go together."
        ),
        (
            f"Effect: mean of the oval periods − mean of the round ones; {OVERALL_OF_PERIODS}. p: share of all schedules"
            " that the lot could have given with an effect as large in either direction (Edgington & Onghena 2007, ch. 11);"
            " interval: all constant effects that this test does not reject. Beside it a bootstrap of blocks of successive"
            " periods (Künsch 1989), which is too narrow with so few periods and decides nothing."
        ),
    ]
