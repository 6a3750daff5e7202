"""The terms of the wanted mount: what was recorded, how far it scatters, and what oval ring and road add."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.periodic import axial_change_deg, axial_phase_deg
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.road_shift import shift_to_road
from analysis_lib.statistics.estimates import show_number

RECORDED, TURNS, PERIODS, INTENSITIES = "as recorded", "turn to turn", "period to period", "intensities"
ANGLE = "crank angle"
CORRECTION, ROAD, ON_ROAD = "carried from the oval ring", "indoor–road", "on the road"


@dataclass(frozen=True)
class MountTerms:
    """The wanted mount and its terms.

    Attributes
    ----------
    frame : DataFrame
        One row a term: ``term, mount_deg, spread_deg, rests_on``; `mount_deg` is an angle for "as recorded" and
        "on the road" and a shift for what lies between, `spread_deg` how far it scatters.
    nearest_deg : float
        The available mount nearest to the wanted one, as recorded.
    nearest_on_road_deg : float or None
        The same with the indoor–road term; None where there is none.
    why_no_road : str
        Why there is no such term.
    is_only : bool
        Whether the ring has one mount only, so that none is nearest.
    """

    frame: pd.DataFrame
    nearest_deg: float
    nearest_on_road_deg: float | None
    why_no_road: str = ""
    is_only: bool = False

    def value(self, term: str) -> float:
        """The angle or shift of a term, degrees; NaN where it has none."""
        rows = self.frame.loc[self.frame["term"] == term, "mount_deg"]
        return float(rows.iloc[0]) if len(rows) else math.nan

    def sentence(self) -> str:
        """The indoor–road term of the advice in words."""
        recorded = f"As recorded the wanted mount is {show_number(self.value(RECORDED), 1)}°"
        if self.nearest_on_road_deg is None:
            return f"{recorded}; the advice has no indoor–road term: {self.why_no_road}."
        on_road = (
            f"{recorded}; with the indoor–road term of {show_number(self.value(ROAD), 1, signed=True)}° it is"
            f" {show_number(self.value(ON_ROAD), 1)}° on the road"
        )
        if self.is_only:
            return f"{on_road}."
        stays = self.nearest_on_road_deg == self.nearest_deg
        nearest = (
            f"{self.nearest_deg:g}° stays the nearest available"
            if stays
            else f"{self.nearest_on_road_deg:g}° instead of {self.nearest_deg:g}° becomes the nearest available"
        )
        return f"{on_road}, and {nearest}."


@once
def mount_terms(analysis: RiderAnalysis) -> MountTerms:
    """Take the wanted mount apart into its terms."""
    advice = analysis.mount_advice
    low, high = advice.overall_mount_interval_deg
    wanted = advice.overall_mount_deg
    rows = [
        (
            RECORDED,
            wanted,
            (high - low) / 2,
            f"half the {100 * advice.level:g} % interval of {advice.n_draws} draws, which hold {advice.holds}",
        ),
        *_scatter(analysis),
        _of_angle(analysis),
        *_correction(analysis),
    ]
    mounts = analysis.mounting.available_mounts_deg
    try:
        shifts = shift_to_road(analysis).to_frame()["mount_shift_deg"]
    except Refusal as refusal:
        return MountTerms(_as_frame(rows), advice.nearest_mount_deg, None, f"{refusal.what}, {refusal.got}")
    shift = float(shifts.mean())
    on_road = (wanted + shift) % 180.0
    rows += [
        (ROAD, shift, float(np.ptp(shifts)) / 2, "mechanics alone; half the range over intensities"),
        (ON_ROAD, on_road, math.nan, "as recorded and indoor–road together"),
    ]
    nearest = min(mounts, key=lambda mount: abs(axial_change_deg(mount - on_road)))
    return MountTerms(_as_frame(rows), advice.nearest_mount_deg, nearest, is_only=len(mounts) == 1)


def _scatter(analysis: RiderAnalysis) -> list[tuple[str, float, float, str]]:
    """How far torque phase, and so the wanted mount, scatters between turns, periods and intensities."""
    errors, away, df = [], [], 0
    for intensity in analysis.intensities:
        trials = analysis.stroke_trials(intensity)["trial"]
        summaries = pd.concat([analysis.results[trial].summary for trial in trials])
        found = summaries[summaries["quantity"] == "torque_phase_deg"]
        errors += found["se"].tolist()
        phases = found["value"].to_numpy(dtype=float)
        centre = np.degrees(np.angle(np.exp(2j * np.radians(phases)).mean())) / 2
        away += list(axial_change_deg(phases - centre))
        df += len(phases) - 1
    wanted = analysis.mount_advice.by_intensity["mount_deg"] - analysis.mount_advice.overall_mount_deg
    between = math.sqrt(np.sum(np.square(away)) / df) if df else math.nan
    return [
        (
            TURNS,
            math.nan,
            math.sqrt(np.mean(np.square(errors))),
            "standard error of one trial's torque phase",
        ),
        (PERIODS, math.nan, between, f"SD of trials of one intensity, {df} degrees of freedom"),
        (
            INTENSITIES,
            math.nan,
            float(np.ptp(axial_change_deg(wanted))),
            "largest less smallest wanted mount",
        ),
    ]


def _of_angle(analysis: RiderAnalysis) -> tuple[str, float, float, str]:
    """What all trials have in common: the zero of the crank angle and the delay of torque, as declared."""
    angle = analysis.mounting.angle
    known = {part: found for part, found in angle.uncertainty_deg.items() if not math.isnan(found)}
    parts = [f"{part} {show_number(found, 1)}°" for part, found in known.items()]
    parts += [f"{part} not declared, so exact" for part in angle.uncertainty_deg if part not in known]
    rests_on = f"standard uncertainty, the same in all trials: {', '.join(parts)}"
    return ANGLE, math.nan, angle.total_deg if known else math.nan, rests_on


def _correction(analysis: RiderAnalysis) -> list[tuple[str, float, float, str]]:
    """What carrying the stroke from the oval to the round ring moved the wanted mount by."""
    shifts = []
    for intensity in analysis.only_on_oval:
        trials = analysis.stroke_trials(intensity)["trial"]
        recorded = np.mean([analysis.results[trial].torque_at_angles() for trial in trials], axis=0)
        shifts.append(
            axial_change_deg(axial_phase_deg(recorded) - axial_phase_deg(analysis.stroke.mean_Nm[intensity]))
        )
    if not shifts or not np.any(shifts):
        return []
    return [
        (CORRECTION, float(np.mean(shifts)), float(np.ptp(shifts)) / 2, "in the angle as recorded already")
    ]


def _as_frame(rows: list[tuple[str, float, float, str]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["term", "mount_deg", "spread_deg", "rests_on"])


def terms_table(terms: MountTerms) -> TableExhibit:
    """Give every term of the wanted mount."""
    return TableExhibit(
        "mount_terms",
        terms.frame,
        "The wanted mount term by term: angle or shift, and how far it scatters. What all trials have in common does not"
        " average out over them. The road's term is mechanics alone and not in the intervals.",
        {"mount_deg": "mount or shift (deg)", "spread_deg": "± (deg)", "rests_on": "rests on"},
        {"mount_deg": 1, "spread_deg": 1},
    )
