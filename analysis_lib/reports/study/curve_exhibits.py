"""Torque curves around the turn, oval − round: both legs, each leg, and the change with intensity."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.counts_in_words import LONGEST_CAPTION, say_counts, say_range
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.intensity_labels import NO_LABELS, call
from analysis_lib.reports.figures.curve_figures import curve_difference_panels
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.curves import PairedCurves
from analysis_lib.statistics.estimates import show_count, show_number, show_p
from analysis_lib.statistics.multiplicity import adjust_p
from analysis_lib.statistics.random_field import random_field_threshold

OVAL_LESS_ROUND = "oval − round"
STEP = "per step of intensity"
OF_LEGS = "Each leg's torque by the right crank"
BIN_CENTRES_DEG = np.arange(360) + 0.5
NEWTON_METRES = ("largest_Nm", "low_Nm", "high_Nm", "clear_of_zero_Nm", "largest_possible_Nm")


def curve_exhibit(
    curves: Mapping[str, PairedCurves],
    difference: str = OVAL_LESS_ROUND,
    labels: Mapping[str, str] = NO_LABELS,
) -> FigureExhibit:
    """Draw the mean difference of two-leg torque around the turn with its band, one panel an intensity."""
    what = f"Two-leg torque through the turn, {difference}"
    return _curve_figure("curve_difference", curves, what, difference, labels)


def leg_curves(analysis: StudyAnalysis) -> dict[str, PairedCurves]:
    """Return the difference curves of each leg at each intensity, named for the panels of a figure."""
    return {
        f"{leg} leg, {name}": analysis.curve_effect(name, leg)
        for leg in ("left", "right")
        for name in analysis.intensities
    }


def leg_curve_exhibit(
    curves: Mapping[str, PairedCurves], labels: Mapping[str, str] = NO_LABELS
) -> FigureExhibit:
    """Draw the difference curves of each leg; riders whose legs were recorded apart."""
    return _curve_figure(
        "curve_difference_legs",
        curves,
        f"{OF_LEGS}, oval − round (riders whose legs were recorded apart)",
        labels=labels,
    )


def leg_curve_table(curves: Mapping[str, PairedCurves]) -> TableExhibit:
    """Say where the band of each leg's curve leaves zero."""
    return curve_table(curves, over="legs and intensities", name="curve_legs", what=OF_LEGS)


def trend_curve_exhibit(
    trend: PairedCurves | Mapping[str, PairedCurves], difference: str = OVAL_LESS_ROUND
) -> FigureExhibit:
    """Draw how the difference of two-leg torque changes from one intensity to the next; one panel a ring, if several."""
    return _curve_figure(
        "curve_difference_trend",
        {STEP: trend} if isinstance(trend, PairedCurves) else trend,
        f"Ring × intensity: change of the two-leg torque difference, {difference}, per step of intensity, from the riders'"
        " own slopes",
        difference,
    )


def _curve_figure(
    name: str,
    curves: Mapping[str, PairedCurves],
    what: str,
    difference: str = OVAL_LESS_ROUND,
    labels: Mapping[str, str] = NO_LABELS,
) -> FigureExhibit:
    called = {panel: call(panel, labels) for panel in curves}
    frame = pd.concat(
        pd.DataFrame(
            {
                "panel": panel,
                "crank_deg": BIN_CENTRES_DEG,
                "mean": curve.mean,
                "low": curve.low,
                "high": curve.high,
            }
        )
        for panel, curve in curves.items()
    )
    counts = {str(called[panel]): curve.n for panel, curve in curves.items()}
    found = _where_in_words({str(called[panel]): curve for panel, curve in curves.items()})
    return FigureExhibit(
        name,
        curve_difference_panels(frame.assign(panel=frame["panel"].map(called)), difference),
        _caption(f"{what}: mean over riders with a {_how_made(curves)}.", counts, found, curves),
        f"{what}: mean difference curves with simultaneous bands; the band excludes zero: {found}.",
        frame,
    )


def _caption(made: str, counts: Mapping[str, int], found: str, curves: Mapping[str, PairedCurves]) -> str:
    """Say how many riders and where the band leaves zero, in as much detail as a caption can hold."""
    runs = [len(curve.excludes_zero()) for curve in curves.values()]
    panels = f" in {sum(map(bool, runs))} of {len(runs)} panels" if len(runs) > 1 else ""
    counted = f"at {show_count(sum(runs), 'place')}{panels}, see the table"
    for riders, where in (
        (say_counts("Riders", counts), found),
        (say_counts("Riders", counts), counted),
        (say_range("Riders", counts), counted),
    ):
        caption = f"{made} {riders} Where the band leaves zero: {where}."
        if len(caption.split()) <= LONGEST_CAPTION:
            break
    return caption


def _how_made(curves: Mapping[str, PairedCurves]) -> str:
    """Say how bands were made; adjusting for sequence costs degrees of freedom beyond the one of the mean."""
    if any(curve.df < curve.n - 1 for curve in curves.values()):
        how = "largest |t| over relabelled sequences or signs, adjusted for sequence"
    else:
        how = "largest |t| over flipped signs, not adjusted for sequence"
    return f"95 % band that holds for the whole turn at once ({how})"


def _runs_in_words(curve: PairedCurves) -> str:
    return (
        ", ".join(f"{start}–{(end + 1) % 360 or 360}°" for start, end in curve.excludes_zero()) or "nowhere"
    )


def _where_in_words(curves: Mapping[str, PairedCurves]) -> str:
    """Name the panels whose band leaves zero, and say once that the others do not."""
    leaving = [f"{name}: {_runs_in_words(curve)}" for name, curve in curves.items() if curve.excludes_zero()]
    if leaving and len(leaving) < len(curves):
        leaving.append("nowhere else")
    return "; ".join(leaving) or "nowhere"


def curve_sentence(
    curves: Mapping[str, PairedCurves], over: str = "intensities", labels: Mapping[str, str] = NO_LABELS
) -> str:
    """Say what all intensities looked at together show, and how large a difference is left open."""
    smallest = float(min(adjust_p([curve.p for curve in curves.values()])))
    most = max(float(np.maximum(-curve.low, curve.high).max()) for curve in curves.values())
    alone = [
        f"{call(name, labels)} at {_runs_in_words(curve)}"
        for name, curve in curves.items()
        if curve.excludes_zero()
    ]
    shown = (
        "The torque curve differs between rings"
        if smallest <= 0.05
        else "No difference between the rings' torque curves is shown"
    )
    by_itself = f" Looked at by itself the band leaves zero: {', '.join(alone)}." if alone else ""
    return (
        f"{shown} (smallest p over {over}, adjusted: {show_p(smallest)}).{by_itself} A difference larger than"
        f" {show_number(most, 1)} N·m is ruled out everywhere in the turn."
    )


def curve_table(
    curves: Mapping[str, PairedCurves],
    difference: str = OVAL_LESS_ROUND,
    over: str = "intensities",
    name: str = "curve_differences",
    what: str = "Two-leg torque",
) -> TableExhibit:
    """Say where each band leaves zero and by how much, and what it rules out where it does not."""
    adjusted = dict(zip(curves, adjust_p([curve.p for curve in curves.values()]), strict=True))
    rows = []
    for panel, curve in curves.items():
        places: list[tuple[int, int] | None] = [*curve.excludes_zero()] or [None]
        rows += [
            {
                "intensity": panel,
                "riders": curve.n,
                **_describe_run(curve, place),
                "p": curve.p,
                "p_holm": adjusted[panel],
            }
            for place in places
        ]
    return TableExhibit(
        name,
        pd.DataFrame(rows),
        f"{what}, {difference} (N·m): where the band leaves zero (a dash: nowhere; over 360° where it ends before it"
        " begins), the largest mean difference there, or in the turn. Largest possible: a larger one is ruled out"
        f" everywhere. p is for a whole curve, beside it adjusted for all {over} (Holm).",
        {
            "intensity": "intensity" if over == "intensities" else "curve",
            "from_deg": "leaves zero from (deg)",
            "to_deg": "to (deg)",
            "largest_Nm": "largest mean (N·m)",
            "at_deg": "at (deg)",
            "low_Nm": "band low (N·m)",
            "high_Nm": "band high (N·m)",
            "clear_of_zero_Nm": "clear of zero by (N·m)",
            "largest_possible_Nm": "largest possible (N·m)",
            "p_holm": "p (Holm)",
        },
        {"at_deg": 1, "from_deg": 0, "to_deg": 0} | dict.fromkeys(NEWTON_METRES, 2),
    )


def _describe_run(curve: PairedCurves, run: tuple[int, int] | None) -> dict[str, object]:
    """Describe one run of angles whose band leaves zero, or the whole turn where there is none."""
    first, last = run if run else (0, 359)
    inside = np.arange(first, last + 1) if first <= last else np.r_[first:360, 0 : last + 1]
    peak = inside[int(np.abs(curve.mean[inside]).argmax())]
    clear = np.maximum(curve.low[inside], -curve.high[inside]).max()
    return {
        "from_deg": float(first) if run else np.nan,
        "to_deg": float((last + 1) % 360 or 360) if run else np.nan,
        "largest_Nm": curve.mean[peak],
        "at_deg": BIN_CENTRES_DEG[peak],
        "low_Nm": curve.low[peak],
        "high_Nm": curve.high[peak],
        "clear_of_zero_Nm": clear if run else np.nan,
        "largest_possible_Nm": np.maximum(-curve.low, curve.high).max(),
    }


def random_field_table(
    analysis: StudyAnalysis,
    curves: Mapping[str, PairedCurves],
    differences_of: Mapping[str, pd.DataFrame] | None = None,
) -> TableExhibit:
    """Give a second reading of the same curves: the threshold of random field theory beside that of the bands.

    `differences_of` gives the riders' curves by name where the names are not intensities.
    """
    rows = []
    for name, curve in curves.items():
        differences = analysis.curve_differences(name) if differences_of is None else differences_of[name]
        field = random_field_threshold(
            differences.to_numpy(), sequence=analysis.sequences_of(differences.index)
        )
        most = float(np.abs(curve.t).max())
        leaves = most > curve.critical_t, most > field.critical_t
        rows.append((name, most, curve.critical_t, leaves[0], field.critical_t, leaves[1], field.fwhm))
    columns = ["intensity", "largest_t", "flip_t", "flip_leaves", "field_t", "field_leaves", "fwhm_deg"]
    return TableExhibit(
        "random_field",
        pd.DataFrame(rows, columns=columns),
        "Second reading of the same curves: largest |t| in the turn against the critical t of relabelled riders"
        " (used for the bands) and of random field theory on a closed curve, which assumes smooth curves and normal errors;"
        " smoothness is the width at half height of the noise.",
        {
            "largest_t": "largest |t|",
            "flip_t": "critical t, relabelled",
            "flip_leaves": "leaves zero",
            "field_t": "critical t, random field",
            "field_leaves": "leaves zero, random field",
            "fwhm_deg": "smoothness (deg)",
        },
        {"largest_t": 2, "flip_t": 2, "field_t": 2, "fwhm_deg": 0},
    )


def trend_sentence(trend: PairedCurves, of: str = "") -> str:
    """Say whether the ring acts differently at different intensities somewhere in the turn, and by how much at most."""
    most = float(np.maximum(-trend.low, trend.high).max())
    where = _runs_in_words(trend)
    zero = "includes zero all around the turn" if where == "nowhere" else f"leaves zero at {where}"
    said = f"Ring × intensity through the turn{of}: the band {zero} ({show_p(trend.p)} for the whole curve)"
    return f"{said}; a change larger than {show_number(most, 2)} N·m per step of intensity is ruled out everywhere."


def trend_table(
    trend: PairedCurves | Mapping[str, PairedCurves], difference: str = OVAL_LESS_ROUND
) -> TableExhibit:
    """Say where the change with intensity leaves zero, and what it rules out where it does not."""
    curves = {STEP: trend} if isinstance(trend, PairedCurves) else trend
    return curve_table(curves, f"{difference}, change per step of intensity", "curves", "curve_trend")
