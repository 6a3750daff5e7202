"""Sentences of the notebook on repeatability."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.measurement.repeatability_exhibits import error_of
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.reports.measurement.turns_exhibits import spread_between_turns
from analysis_lib.statistics.agreement import Agreement
from analysis_lib.statistics.estimates import show_count, show_number, show_p
from analysis_lib.statistics.trial_table import OVERALL, RINGS


def answer(repeats: RepeatedTrials) -> list[str]:
    """Say how well the quantity repeats on each ring, and what one rider's change has to exceed."""
    return [f"{ring.capitalize()} ring: {error_of(repeats, OVERALL, ring).sentence()}" for ring in RINGS]


def beside_what_matters(repeats: RepeatedTrials) -> list[str]:
    """Hold the smallest detectable change of one rider against the smallest effect that was declared to matter."""
    declared = [part for part in repeats.study.settings.outcomes if part.name == repeats.quantity]
    if not declared:
        return [f"{repeats.label} is no declared outcome, so nothing was said about what matters."]
    change = error_of(repeats, OVERALL, "round").minimal_detectable_change
    matters = declared[0].smallest_effect
    unit = f" {repeats.unit}" if repeats.unit else ""
    verdict = (
        "one trial on each ring can show an effect of that size in one rider."
        if change <= matters
        else "one trial on each ring cannot show an effect of that size in one rider; that is what several periods and"
        " many riders are for."
    )
    return [
        f"The smallest effect that matters was declared as {show_number(matters)}{unit}; the smallest change"
        f" that two trials of one rider show is {show_number(change, 2)}{unit} (round ring):"
        f" {verdict}"
    ]


def rings_alike(repeats: RepeatedTrials) -> list[str]:
    """Say whether the typical errors of both rings could be one."""
    found = {ring: error_of(repeats, OVERALL, ring) for ring in RINGS}
    bounds = {ring: error.interval() for ring, error in found.items()}
    apart = bounds["round"].high < bounds["oval"].low or bounds["oval"].high < bounds["round"].low
    return [
        "The intervals of both rings' typical errors "
        + (
            "do not overlap: repeatability differs between rings."
            if apart
            else "overlap: no difference in repeatability between rings is shown, and none is ruled out."
        )
    ]


def agreement_words(linked: Agreement) -> list[str]:
    """Say bias and limits of repeats in one sentence, and whether differences grow with the value."""
    slope = linked.slope
    whose = "Here a is a rider's first trial on a ring and b the second."
    if slope.se != slope.se:
        return [linked.sentence(), whose]
    bounds = slope.interval()
    grows = (
        "differences change with the value" if bounds.excludes(0.0) else "no change with the value is shown"
    )
    return [
        f"{linked.sentence()} {whose}",
        f"Slope of the difference on the mean: {show_number(slope.value, 3, signed=True)}"
        f" ({show_number(bounds.low, 3)} to {show_number(bounds.high, 3)}, {show_p(slope.p)}): {grows}.",
    ]


def turns_words(repeats: RepeatedTrials) -> list[str]:
    """Say how much of the typical error the turns of a trial explain."""
    words = []
    for intensity in repeats.intensities:
        trials = spread_between_turns(repeats, intensity)
        within = float(((trials["turn_sd"] ** 2) / (trials["n_turns"] * trials["share"])).median())
        error = error_of(repeats, intensity, "round").value
        share = min(100 * within / error**2, 100.0)
        words.append(f"{repeats.study.settings.intensity_label(intensity)}: {share:.0f} %")
    return [
        "Share of the typical error's variance that comes from averaging a limited number of turns (middle trial): "
        + ", ".join(words)
        + ". The rest is the rider, the day and the recorder, and longer trials do not make it smaller."
    ]


def doubts(repeats: RepeatedTrials) -> list[str]:
    """List what these repeats cannot show."""
    words = [
        "Repeats are periods of one study: they hold the rider's day and whatever changed between periods, and with few"
        " riders the intervals are wide.",
        "The same recorder measured both trials of a pair, so an error that stays (calibration, angle offset) cannot be"
        " seen here.",
        "A rider without every repeat is left out of typical error and correlation; limits of agreement use every pair.",
    ]
    try:
        few = min(error_of(repeats, name, ring).n for name in repeats.intensities for ring in RINGS)
    except Refusal:
        return words
    return [*words, f"The smallest cell rests on {show_count(few, 'rider')}."]
