"""The axis around which riders push: does it gather, does the ring turn it, and does intensity?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.circular_correlation import angle_with_number
from analysis_lib.statistics.circular_tests import paired_test, rayleigh_test
from analysis_lib.statistics.estimates import show_count, show_number

PHASE = "torque_phase_deg"
COLUMNS = ["intensity", "round_deg", "oval_deg", "gather_p", "turned_deg", "low_deg", "high_deg", "p", "n"]
FEWEST_RIDERS = 3


def axis_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give the mean torque phase on each ring by intensity, and how the oval ring turns it within riders."""
    axes = rider_axes(analysis)
    rows = []
    for intensity in analysis.intensities:
        both = axes[axes["intensity"] == intensity].pivot_table(index="rider", columns="ring", values=PHASE)
        both = both.reindex(columns=["round", "oval"]).dropna()
        if len(both) >= FEWEST_RIDERS:
            rows.append((intensity, *_axes_of(both)))
    if not rows:
        raise Refusal(
            "torque phases on both rings",
            "fewer than three riders at every intensity",
            "three riders or more",
            "record two-leg torque on both rings",
        )
    return TableExhibit(
        "torque_phase_by_ring",
        pd.DataFrame(rows, columns=COLUMNS),
        "Torque phase, an axis (modulo 180°): axial means over riders on each ring; whether the riders' axes on the round"
        " ring gather at all (Rayleigh); how far the oval ring turns the axis within riders, with a 95 % interval, and"
        " Hotelling's test of the paired axes. Periods averaged within riders; not adjusted for periods.",
        {
            "round_deg": "round (deg)",
            "oval_deg": "oval (deg)",
            "gather_p": "p, no common axis",
            "turned_deg": "turned, oval − round (deg)",
            "low_deg": "from",
            "high_deg": "to",
            "p": "p, paired",
        },
        dict.fromkeys(("round_deg", "oval_deg", "turned_deg", "low_deg", "high_deg"), 1),
    )


def _axes_of(both: pd.DataFrame) -> tuple[float, ...]:
    """Say of riders' axes on both rings what stands in `COLUMNS` behind the intensity."""
    step = axial_mean(both["oval"] - both["round"])
    turned, bounds = step.signed_deg, step.interval(0.95)
    # The interval belongs to the mean on [0, 180); the same turn of the axis brings it beside the signed mean.
    return (
        axial_mean(both["round"]).angle_deg,
        axial_mean(both["oval"]).angle_deg,
        rayleigh_test(both["round"], axial=True).p,
        turned,
        bounds.low + turned - step.angle_deg,
        bounds.high + turned - step.angle_deg,
        paired_test(both["round"], both["oval"], axial=True).p,
        len(both),
    )


def phase_steps(analysis: StudyAnalysis) -> dict[str, Any]:
    """Measure how the axis on the round ring moves from the lowest to the highest intensity, within riders.

    Returns
    -------
    dict
        first, last (intensities), turned_deg, low_deg, high_deg (95 %), n, r (circular–linear correlation of the phase,
        less each rider's mean, with the place of the intensity).
    """
    axes = rider_axes(analysis)
    on_round = axes[axes["ring"] == "round"].pivot_table(index="rider", columns="intensity", values=PHASE)
    complete = on_round.reindex(columns=analysis.intensities).dropna()
    if len(analysis.intensities) < 2 or len(complete) < FEWEST_RIDERS:
        raise Refusal(
            "torque phase over intensity",
            f"{show_count(len(complete), 'rider')} with all that there are, {', '.join(analysis.intensities)}",
            "three riders and two intensities or more",
            "read the means at single intensities",
        )
    first, last = complete.columns[0], complete.columns[-1]
    step = axial_mean(complete[last] - complete[first])
    bounds = step.interval(0.95)
    shift = step.signed_deg - step.angle_deg
    own = complete.apply(lambda row: row - axial_mean(row.to_numpy()).angle_deg, axis=1)
    scores = np.tile(np.arange(complete.shape[1]), len(complete))
    return {
        "first": first,
        "last": last,
        "turned_deg": step.signed_deg,
        "low_deg": bounds.low + shift,
        "high_deg": bounds.high + shift,
        "n": step.n,
        "r": angle_with_number(own.to_numpy().ravel(), scores, axial=True).r,
    }


def intensity_sentence(analysis: StudyAnalysis) -> str:
    """Say how the axis on the round ring moves from the lowest to the highest intensity, within riders."""
    found, called = phase_steps(analysis), analysis.study.settings.intensity_label
    turned, low, high = (show_number(found[name], 1) for name in ("turned_deg", "low_deg", "high_deg"))
    return (
        f"From {called(found['first'])} to {called(found['last'])} the torque phase on the round ring turns by {turned}°"
        f" (95 % interval {low}° to {high}°, n = {found['n']} riders; axial mean of the riders' own steps)."
        " Circular–linear correlation of the phase, less each rider's mean, with the place of the intensity:"
        f" r = {found['r']:.2f}, given without a p because axes of one rider are not independent."
    )


def steps_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give the same in a row."""
    return TableExhibit(
        "torque_phase_by_intensity",
        pd.DataFrame([phase_steps(analysis)]),
        "Torque phase on the round ring, from the lowest to the highest intensity within riders: axial mean of the"
        " riders' own steps with its 95 % interval; r is the circular–linear correlation with the place of the intensity.",
        {"turned_deg": "turned (deg)", "low_deg": "from", "high_deg": "to", "n": "riders"},
        dict.fromkeys(("turned_deg", "low_deg", "high_deg"), 1) | {"r": 2},
    )


def rider_axes(analysis: StudyAnalysis) -> pd.DataFrame:
    """Return the axial mean over periods of two-leg torque phase: rider, ring, intensity, torque_phase_deg."""
    rows = analysis.values_of(PHASE).dropna(subset=["value"])
    if rows.empty:
        raise Refusal(
            "torque phases", "none", "two-leg torque of some trial", "record both legs or their total"
        )
    means = [
        (*cell, axial_mean(here["value"].to_numpy()).angle_deg)
        for cell, here in rows.groupby(["rider", "ring", "intensity"], sort=False)
    ]
    return pd.DataFrame(means, columns=["rider", "ring", "intensity", PHASE])
