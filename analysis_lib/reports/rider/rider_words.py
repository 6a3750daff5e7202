"""Sentences of a rider's page: what can be said, what cannot, and what was assumed."""

from __future__ import annotations

import pandas as pd

from analysis_lib.mechanics.mount_criteria import METHOD
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.notebook_page import Tone
from analysis_lib.reports.rider import mount_words
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_exhibits import rider_contrasts
from analysis_lib.reports.rider.stroke_draws import DRAWS
from analysis_lib.reports.trials.caution_exhibits import caution_sentences
from analysis_lib.reports.trials.other_ring import OTHER_RING, of_another_ring
from analysis_lib.reports.trials.power_exhibits import power_doubts
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.reports.trials.scale_exhibits import scale_doubts
from analysis_lib.reports.trials.shape_words import first_shape_doubts
from analysis_lib.reports.trials.turned_words import first_turn_doubts
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.statistics.estimates import show_count, show_number

ZERO_BY_MODEL = {
    "line": "Zero torque from the checks before and after each trial, linear in time, is subtracted.",
    "temperature": "Zero torque by a fit of all checks of the recorder on temperature and time is subtracted.",
}


def answer(analysis: RiderAnalysis) -> list[str]:
    """Answer the page's questions in a few sentences, each from the data."""
    used, listed = len(analysis.results), len(analysis.trials)
    words = _primary_sentence(analysis)
    try:
        words += [mount_words.verdict(analysis.mounting), analysis.mount_advice.sentence()]
    except Refusal as refusal:
        words.append(f"No mounting can be advised: {refusal}")
    words.append(f"{used} of {listed} listed trials of rider {analysis.rider} could be used.")
    words += caution_sentences(analysis)
    doubts = [*_other_ring(analysis), *first_turn_doubts(analysis.trials)]
    doubts += first_shape_doubts(analysis.study.settings, analysis.trials)
    doubts += [*scale_doubts(analysis), *power_doubts(analysis)]
    return [*doubts, *words, *_which_oval(analysis), *_cannot_say(analysis)]


def _other_ring(analysis: RiderAnalysis) -> list[str]:
    """Say before anything else where the crank turned as on the other ring: then the labels of rings are in doubt."""
    used = analysis.used
    exchanged = list(used.loc[of_another_ring(used), "trial"])
    if not exchanged:
        return []
    return [
        f"Not to be relied on: in {len(exchanged)} of {show_count(len(used), 'trial')} the crank"
        f" {OTHER_RING} ({', '.join(exchanged)}). If they are, differences and mounts on this page are those of the"
        " wrong ring."
    ]


def _primary_sentence(analysis: RiderAnalysis) -> list[str]:
    outcome = analysis.study.settings.primary_outcome
    frame = rider_contrasts(analysis)
    rows = frame[frame["outcome"].str.startswith(outcome.label)]
    if rows.empty:
        return []
    called = analysis.study.settings.intensity_label
    rows = rows.assign(intensity=rows["intensity"].map(called))
    each = ", ".join(
        f"{row['intensity']} {show_number(float(row['difference']), 1, signed=True)}"
        for row in rows.to_dict("records")
    )
    unit = f" {outcome.difference_unit}" if outcome.difference_unit else ""
    return [
        f"{outcome.label}, oval − round{f' ({outcome.difference_unit})' if unit else ''}: {each}; smallest effect that"
        f" matters {outcome.smallest_effect:g}{unit}. {_against_repeats(rows)} One rider's difference is a description;"
        " the study's page judges effects."
    ]


def _against_repeats(rows: pd.DataFrame) -> str:
    """Hold a rider's differences against how far each ring differs from its own periods."""
    spread = rows[["range_round", "range_oval"]].max(axis=1, skipna=False)
    larger = list(rows.loc[rows["difference"].abs() > spread, "intensity"])
    once = list(rows.loc[spread.isna(), "intensity"])
    day = (
        f"At {', '.join(once)} one of the rings has no more than one period that counts, so a difference of rings cannot be"
        " told from a difference of days."
    )
    if len(once) == len(rows):
        return day
    if larger:
        found = f"At {', '.join(larger)} the difference is larger"
    else:
        found = "Elsewhere the difference is no larger" if once else "None of these differences is larger"
    return f"{day + ' ' if once else ''}{found} than the spread between periods on one ring."


def _which_oval(analysis: RiderAnalysis) -> list[str]:
    """Name the oval ring of this page where the study has others beside it."""
    settings = analysis.study.settings
    ridden = {ring for order in settings.design.sequences.values() for ring in order}
    if ridden <= set(settings.rings):
        return []
    return [
        f"Oval on this page is the ring {settings.ring_in_role('oval')}; the others have pages of their own."
    ]


def _cannot_say(analysis: RiderAnalysis) -> list[str]:
    """Say what this rider's data cannot tell."""
    words = []
    if len(analysis.rings) == 1:
        words.append(
            f"Only the {analysis.rings[0]} ring has trials that count, so nothing can be said about a difference of rings."
        )
    if len(analysis.intensities) == 1:
        words.append("Only one intensity has trials that count, so nothing can be said about others.")
    layouts = {result.layout for result in analysis.results.values()}
    if "total only" in layouts:
        words.append("The recorder gives one total torque: the share of each leg is not known.")
    if layouts & {"left only", "right only"}:
        words.append(
            "One leg was recorded: the other leg's torque is not known, and every total doubles the recorded"
            " leg."
        )
    return words


def trust(analysis: RiderAnalysis) -> list[str]:
    """Say what had to be assumed and which trials ask for caution."""
    return _doubtful(analysis) or [
        "Every trial has zero checks before and after it, and nothing had to be assumed to read the recordings. What"
        " mechanics further down assume stands there."
    ]


def tone_of_trust(analysis: RiderAnalysis) -> Tone:
    """Return the tone of `trust`: a caution where there is anything to be cautious about."""
    return "caution" if _doubtful(analysis) else "plain"


def _doubtful(analysis: RiderAnalysis) -> list[str]:
    return [
        *(f"Assumed – {sentence}" for sentence in analysis.assumptions),
        *(f"Not used – {line}" for line in _reasons_of_lost(analysis)),
        *caution_sentences(analysis),
    ]


def _reasons_of_lost(analysis: RiderAnalysis) -> list[str]:
    """Each reason why trials are not used once, with the trials that it holds for."""
    rows = analysis.trials[analysis.trials["state"] == NOT_USED]
    return [f"{', '.join(here['trial'])}: {reason}" for reason, here in rows.groupby("reason", sort=False)]


def effect(analysis: RiderAnalysis) -> list[str]:
    """Say why there is no difference to show, and which declared outcomes could not be worked out."""
    alone = len(analysis.rings) < 2
    words = (
        [f"Only the {analysis.rings[0]} ring has trials that count: there is no difference to show."]
        if alone
        else []
    )
    labels = {part.name: part.label for part in analysis.study.settings.outcomes}
    unknown = analysis.quantities[
        analysis.quantities["value"].isna() & analysis.quantities["quantity"].isin(labels)
    ]
    for reason, rows in unknown.groupby("note", sort=False):
        which = ", ".join(labels[name] for name in rows["quantity"].unique())
        words.append(f"{which} not known in {', '.join(rows['trial'].unique())}: {reason}.")
    return words


def cautions() -> list[str]:
    """Give the usual cautions; they defer to those who know the rider and the parts."""
    return [
        (
            "Fit rings by the maker's instructions: bolt torque, chain length at both extremes of the ring,"
            " front derailleur height at the ring's largest radius, and ten turns by hand in every gear"
            " before riding. Fit a guard against a dropped chain and do not begin with a sprint (common"
            " practice, no source)."
        ),
        (
            "Introduce a ring gradually. Stop at knee pain and have it looked at by a licensed professional:"
            " whether oval rings load or relieve the knee is unresolved. This page is no medical advice, and"
            " maximal tests belong under ethics review, screening and trained supervision."
        ),
    ]


def doubts(analysis: RiderAnalysis) -> list[str]:
    """List reasons to doubt the page, from the data at hand."""
    fewest = pd.Series({trial: result.quality["kept_turns"] for trial, result in analysis.results.items()})
    return [
        (
            f"The trial with the fewest turns ({fewest.idxmin()}) has {int(fewest.min())}; intervals rest"
            " on turns, and turns of one trial are more alike than turns of different days."
        ),
        (
            "No criterion of mounting has been shown to predict performance; the largest arm at the torque"
            " phase is the usual one. How small a difference of loss counts as none is a convention."
        ),
        (
            "Predictions assume a rigid drivetrain, the inertia that study.toml states and legs that were not"
            " measured."
        ),
        "The rider knew which ring was on the bicycle.",
        *_cells_at_fault(analysis),
        *unread_sentences(analysis.study, analysis.rider),
    ]


def _cells_at_fault(analysis: RiderAnalysis) -> list[str]:
    """Say what a fault in a cell of riders.csv takes from the page; what does not need the cell stands as it is."""
    cells = [part for part in analysis.study.errors if part.scope == "cell" and not part.trial]
    columns = [part.column for part in cells if part.rider == analysis.rider]
    if not columns:
        return []
    return [
        f"riders.csv is at fault in {' and '.join(columns)} of this rider, so that is taken as not known. Left out is what"
        " the inertia of legs and rider does: one assumption of the torque that is predicted on the oval ring, the"
        " indoor–road term, and the carrying over of a stroke that was recorded on the oval ring alone."
    ]


def methods(analysis: RiderAnalysis) -> list[str]:
    """Generate the methods text from what was done."""
    return [
        (
            f"{ZERO_BY_MODEL[analysis.study.settings.rules.zero_model]} The"
            " crank angle is unwrapped, whole turns are cut at top dead centre by interpolation, and torque"
            " is averaged over 360 one-degree bins by exact integration over angle. Power is work over the"
            " turn divided by its duration."
        ),
        (
            "A whole turn is kept when its cadence, its longest gap, its farthest step back, its longest standstill and its"
            " mean torque keep to the rules of the table, and no channel is saturated or stuck."
        ),
        (
            "A trial's value is the mean over its kept turns with a standard error that allows for"
            " correlation from turn to turn. Torque phase: half the phase of the second harmonic of two-leg"
            f" torque against angle. {DRAWS} draws of the mean turn: circular block bootstrap over turns"
            " within a trial, and a normal multiple of the differences between periods, shared by all"
            " intensities."
        ),
        METHOD,
    ]
