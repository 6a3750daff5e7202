"""Sentences of the page of several rings: no stronger than the intervals they come from."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.several_rings.rings_analysis import REFERENCE, RingsAnalysis
from analysis_lib.reports.several_rings.rings_cautions import (
    cautions_in_short,
    few_riders_sentences,
    floor_cautions,
)
from analysis_lib.reports.study.exclusion_exhibits import excluded_riders, listed_trials
from analysis_lib.reports.study.exertion_exhibits import exertion_cautions
from analysis_lib.reports.study.interim import interim_sentences, unfinished_sentences
from analysis_lib.reports.trials.caution_exhibits import caution_sentences
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.reports.trials.scale_exhibits import first_doubts, meter_cautions
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.statistics.denominator_df import FTest
from analysis_lib.statistics.equivalence import ZERO, say_verdict, show_interval
from analysis_lib.statistics.estimates import Interval, decimals_for, show_count, show_df, show_number, show_p
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.statistics.trial_table import OVERALL, OVERALL_OF_PERIODS
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after

TOGETHER = "for all rings together"

SECONDARY = " The secondary outcomes are not adjusted against each other: read them as a description."


def answer(analysis: RingsAnalysis) -> list[str]:
    """Answer the study's question: every oval ring against the round one on the primary outcome."""
    outcome = analysis.outcomes[0]
    try:
        effect = analysis.rings_effect(outcome)
    except Refusal as refusal:
        return [
            *first_doubts(analysis),
            f"This study cannot answer its question for {outcome.label}: {refusal}",
            *caution_sentences(analysis),
        ]
    rows = effect.to_frame().merge(effect.verdicts(outcome.smallest_effect))
    called = analysis.study.settings.intensity_label
    each = [
        f"{called(str(name))} " + ", ".join(f"{row.ring} {row.verdict}" for row in here.itertuples())
        for name, here in rows[rows["intensity"] != OVERALL].groupby("intensity", sort=False, observed=True)
    ]
    return [
        *_made_up(analysis),
        *first_doubts(analysis),
        *interim_sentences(analysis.study),
        *floor_cautions(analysis, outcome, effect),
        f"Primary outcome, {outcome.label}, mean over intensities:",
        *ring_sentences(outcome, effect),
        *few_riders_sentences(outcome, effect),
        *unfinished_sentences(analysis.study),
        f"Each intensity looked at by itself: {'; '.join(each)}.",
        *caution_sentences(analysis),
    ]


def _made_up(analysis: RingsAnalysis) -> list[str]:
    if not analysis.is_made_up:
        return []
    return [
        "No study was named: virtual riders on three rings stand in for one, and nothing below is a finding."
    ]


def ring_sentences(outcome: Outcome, effect: RingsEffect) -> list[str]:
    """Say for each oval ring how it compares with the round one, mean over intensities."""
    rows = effect.to_frame().merge(effect.verdicts(outcome.smallest_effect))
    rows = rows[rows["intensity"] == OVERALL]
    return [_ring_sentence(row, outcome, effect) for row in rows.to_dict("records")]


def _ring_sentence(row: dict, outcome: Outcome, effect: RingsEffect) -> str:
    unit = f" {outcome.difference_unit}" if outcome.difference_unit else ""
    head = f"{row['ring']} − {effect.reference}"
    if not row["se"] > 0:
        shown = show_number(row["estimate"], signed=True)
        return f"{head}: {shown}{unit}; the differences it rests on do not vary, so no test can be made."
    shown = show_number(row["estimate"], decimals_for(row["se"]), signed=True)
    held = show_interval(Interval(row["low"], row["high"], effect.level), row["se"], outcome.difference_unit)
    counted = f"n = {row['n']}{show_df(row['df'])}"
    return f"{head}: {shown}{unit} ({held} {TOGETHER}; {counted}). {_verdict(row, effect, outcome)}."


def held_together(row: dict, effect: RingsEffect) -> str:
    """Give the interval and p of one ring that hold for all rings at the same time."""
    bounds = Interval(row["low"], row["high"], effect.level)
    return f"{show_interval(bounds, row['se'])}, {show_p(row['p_family'])}, both {TOGETHER}"


def _verdict(row: dict, effect: RingsEffect, outcome: Outcome) -> str:
    """The verdict on one ring, with p behind what is said of zero, and the interval behind what is ruled out."""
    low, high, smallest = row["low"], row["high"], outcome.smallest_effect
    beyond = min(abs(low), abs(high)) >= smallest
    margin = f"{show_number(smallest)}{unit_after(outcome)}"
    zero, large = f"{show_p(row['p_family'], ZERO)} {TOGETHER}", ""
    if row["verdict"] == "equivalent":
        bounds = Interval(row["low_equivalence"], row["high_equivalence"], 1 - 0.1 / len(effect.rings))
        large = f"{show_interval(bounds, row['se'], outcome.difference_unit)} by itself"
    return say_verdict(row["verdict"], margin, low > 0 or high < 0, beyond, zero, large)


def exertion_sentences(analysis: RingsAnalysis) -> list[str]:
    """Say whether the effort was the same on all rings; see `exertion_cautions`."""
    return exertion_cautions(
        analysis, lambda outcome: ring_sentences(outcome, analysis.rings_effect(outcome))
    )


def omnibus_sentences(analysis: RingsAnalysis, effect: RingsEffect) -> list[str]:
    """Say at each intensity whether rings differ at all; it decides nothing about any one of them."""
    tests = effect.omnibus()
    called = analysis.study.settings.intensity_label
    words = [f"{called(str(name))}: {_show_f(test)}" for name, test in tests.items()]
    return [
        f"Do the rings differ at all, the round one among them? {'; '.join(words)}. The contrasts below do not wait for"
        " this test: their intervals hold together without it."
    ]


def relabelled_sentences(analysis: RingsAnalysis, outcome: Outcome) -> list[str]:
    """Say how often the sequences dealt otherwise make rings differ as much, beside the F test."""
    tests = analysis.relabelled(outcome)
    called = analysis.study.settings.intensity_label
    words = "; ".join(f"{called(str(name))}: {show_p(test.p)}" for name, test in tests.items())
    last = list(tests.values())[-1]
    kind = "all" if last.exact else "at random"
    return [
        f"The sequences dealt to the riders otherwise ({kind}) make the rings differ as much as was seen: {words}. With"
        f" these riders p could not have been below {last.smallest_p:.2g}. It assumes nothing about distributions, and"
        " says nothing about any one ring."
    ]


def _show_f(test: FTest) -> str:
    if test.f != test.f:
        return "cannot be tested, the differences do not vary"
    return f"F({test.df_between}, {test.df_within:.4g}) = {show_number(test.f, 2)}, {show_p(test.p)}"


def meter_sentences(analysis: RingsAnalysis) -> list[str]:
    """Say how much of each contrast a meter could have made up."""
    gaps = analysis.ring_gaps()
    once = gaps[gaps["sectors"] == gaps["sectors"].min()]
    called = analysis.study.settings.intensity_label
    parts = [
        f"{row.ring} at {called(row.intensity)} {show_number(row.mean_W, 2, signed=True)} W"
        for row in once.itertuples()
    ]
    return [
        (
            "If the riders did exactly the same on all rings, a meter that averages torque over time and learns crank"
            f" speed once a turn would still show against round: {'; '.join(parts)} (mean over riders; rigid"
            " drivetrain, constant resistance, stated inertia)."
        ),
        (
            "Power in this report is work over the turn divided by its duration, which has no such error; that holds"
            " as far as the recorded angle, torque and zero are true."
        ),
        *meter_cautions(analysis),
    ]


def doubts(analysis: RingsAnalysis) -> list[str]:
    """List reasons to doubt the page."""
    lost, excluded = int((listed_trials(analysis)["state"] == NOT_USED).sum()), excluded_riders(analysis)
    left = len(analysis.left_out) - len(excluded)
    return [
        *_made_up(analysis),
        *cautions_in_short(analysis),
        f"{show_count(len(analysis.tables), 'rider')} analysed; {show_count(lost, 'listed trial')} not used"
        + (f"; every trial of {', '.join(excluded)} is excluded" if excluded else "")
        + (f"; {show_count(left, 'page')} of riders could not be made." if left else "."),
        *unread_sentences(analysis.study),
        "Riders know which ring they ride: expectation can move any outcome that effort can move.",
        _one_rider_says_little(analysis),
        (
            "One error serves all contrasts, which is right when any two rings differ by as much from rider to rider;"
            " each ring by itself stands beside it. Where riders differed on one of three rings alone, simulated"
            " studies without any effect found one somewhat more often than promised (notebook 07_repeatability has"
            " the table of simulated studies)."
        ),
        (
            "Intervals hold for all rings at one intensity; for all intensities too, read p (Holm) where the change with"
            " intensity stands."
            f"{SECONDARY if len(analysis.outcomes) > 2 else ''}"
        ),
    ]


def _rides_repeat(analysis: RingsAnalysis) -> bool:
    return any(len(set(rings)) < len(rings) for rings in analysis.study.settings.design.sequences.values())


def _one_rider_says_little(analysis: RingsAnalysis) -> str:
    if _rides_repeat(analysis):
        return (
            "Rings were ridden in several periods, and each rider's mean on each ring counts once; how far riders differ"
            " in their response stands apart, with its interval, and sorts nobody into responders and others."
        )
    return (
        "Each rider rode each ring in one period, so a rider's own difference cannot be told from the difference"
        " of two rides on one ring: nothing here shows that one rider responds and another does not."
    )


def methods(analysis: RingsAnalysis) -> list[str]:
    """Generate the methods text from what was done."""
    repeats = ", on each rider's mean on each ring" if _rides_repeat(analysis) else ""
    sequences = ", ".join(
        f"{name} ({'-'.join(rings)})" for name, rings in analysis.study.settings.design.sequences.items()
    )
    return [
        (
            f"Randomised crossover of {len(analysis.rings)} rings; sequences: {sequences}; intensities:"
            f" {', '.join(analysis.study.settings.intensity_labels.values())}. Torque was averaged over 360 one-degree bins"
            " by exact integration over angle in whole turns; power is work over the turn divided by its duration."
        ),
        (
            "At each intensity and overall: value = rider + period + ring by least squares, all fixed"
            f"{repeats}; {OVERALL_OF_PERIODS}. Each oval ring against {REFERENCE} with intervals that hold for all rings"
            " together, by the multivariate t distribution (Dunnett 1955). F test of rings beside it. Equivalent: both"
            " one-sided tests at 0.05 divided by the number of oval rings reject an effect as large as the smallest that"
            " matters; difference: the simultaneous 95 % interval excludes zero; else undecided. Ovals among themselves:"
            " Dunn's intervals and Holm's p. Carry-over: the ring of the period before in the same model (Jones & Kenward"
            " 2014, ch. 4), shown and never a gate. Mixed model: random rider, REML, Kenward & Roger 1997."
            " Change with intensity: the slopes of the riders' periods in the same model. Ring × intensity: Wilks's Λ of"
            " the differences between intensities, F by Rao 1951."
        ),
    ]
