"""The shift from where the stroke was recorded to the road: a term of the mount angle of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, SteadyTurn, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.environments import EnvironmentShift, compare_environments
from analysis_lib.mechanics.inertia import with_rider
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.stroke_model import Stroke, make_stroke
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.statistics.estimates import show_number

BICYCLE_KG, WHEEL_RADIUS_M = 9.0, 0.334
"""Bicycle, clothes and bottle, and the rolling radius of a road wheel (common practice, no source)."""

SEEN_DEG = 0.05
"""Shifts below this round to none."""

OUTDOORS = ("road", "outdoors", "track")


@dataclass(frozen=True)
class RoadShift:
    """What the road would change in the stroke, by mechanics alone.

    Attributes
    ----------
    by_intensity : dict of intensity to EnvironmentShift
    recorded_kgm2, road_kgm2 : float
        Crank inertial load on the round ring where the stroke was recorded, and on the road.
    slope : StrokeSlope
        How torque falls with crank speed.
    """

    by_intensity: dict[str, EnvironmentShift]
    recorded_kgm2: float
    road_kgm2: float
    slope: StrokeSlope

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity: speed swings, and the shift of torque phase and wanted mount, road − recorded."""
        rows = [
            {
                "intensity": name,
                "swing_recorded_pct": 100 * shift.ergometer.speed_swing,
                "swing_road_pct": 100 * shift.road.speed_swing,
                "torque_rms_Nm": shift.torque_rms_Nm,
                "phase_shift_deg": -shift.torque_phase_shift_deg,
                "mount_shift_deg": shift.torque_phase_shift_deg,
            }
            for name, shift in self.by_intensity.items()
        ]
        return pd.DataFrame(rows)

    def sentence(self) -> str:
        """The term in words."""
        return (
            f"Indoor–road term: recorded with a crank inertial load of {self.recorded_kgm2:.0f} kg·m², ridden"
            f" on the road with {self.road_kgm2:.0f} kg·m², the wanted mount moves by {self._moved()}"
            f" by mechanics alone, if torque falls by {self._lost()} % per rpm ({self.slope.origin}). It is not in the"
            " intervals; how riders answer the road is not known. An indoor result may sit up to one mounting hole"
            " away from the road (common practice, no source)."
        )

    def _moved(self) -> str:
        shifts = self.to_frame()["mount_shift_deg"]
        if shifts.abs().max() < SEEN_DEG:
            return f"less than {SEEN_DEG:g}°"
        low, high = (show_number(float(end), 1, signed=True) for end in (shifts.min(), shifts.max()))
        return f"{low}°" if low == high else f"{low} to {high}°"

    def _lost(self) -> str:
        losses = [self.slope.lost_at(turn.road.mean_cadence_rpm) for turn in self.by_intensity.values()]
        low, high = (show_number(end, 2) for end in (min(losses), max(losses)))
        return low if low == high else f"{low} to {high}"


@once
def shift_to_road(analysis: RiderAnalysis) -> RoadShift:
    """Solve the rider's stroke on the round ring with the recorded inertia and with the road's.

    Raises
    ------
    Refusal
        Where the trials were ridden outdoors already, or the body mass is not known.
    """
    places = set(analysis.used.get("environment", pd.Series(dtype=str)).dropna().str.lower())
    if places and places <= set(OUTDOORS):
        raise Refusal(
            f"rider {analysis.rider}, indoor–road term",
            f"trials ridden on {', '.join(sorted(places))}",
            "trials ridden indoors",
            "nothing: the stroke was recorded where it is ridden",
        )
    settings = analysis.study.settings
    recorded = settings.drivetrain_for(settings.ring_in_role("round"))
    road = with_rider(recorded, analysis.legs.body_mass_kg + BICYCLE_KG, WHEEL_RADIUS_M)
    shifts = {
        name: _shift(
            recorded, road, _recorded_Nm(analysis, name), analysis.stroke.cadence_rpm[name], analysis.slope
        )
        for name in analysis.stroke.mean_Nm
    }
    return RoadShift(
        shifts, float(recorded.crank_inertia(0.0)), float(road.crank_inertia(0.0)), analysis.slope
    )


def _recorded_Nm(analysis: RiderAnalysis, intensity: str) -> FloatArray:
    """The stroke as recorded indoors; where the rider rode outdoors too, without those trials."""
    trials = analysis.stroke_trials(intensity)
    outdoors = trials.get("environment", pd.Series(index=trials.index, dtype=str)).str.lower().isin(OUTDOORS)
    if not outdoors.any() or outdoors.all():
        return analysis.stroke.mean_Nm[intensity]
    return np.mean(
        [analysis.results[trial].torque_at_angles() for trial in trials.loc[~outdoors, "trial"]], axis=0
    )


def _shift(
    recorded: Drivetrain, road: Drivetrain, torque_Nm, cadence_rpm: float, slope: StrokeSlope
) -> EnvironmentShift:
    stroke = make_stroke(
        torque_Nm,
        recorded.steady_speed(torque_Nm, cadence_rpm),
        slope.slope_Nms(torque_Nm, cadence_rpm),
    )
    return compare_environments(_turn(road, stroke, cadence_rpm), _turn(recorded, stroke, cadence_rpm))


def _turn(drivetrain: Drivetrain, stroke: Stroke, cadence_rpm: float) -> SteadyTurn:
    return steady_turn(drivetrain, stroke, Resistance(), mean_cadence_rpm=cadence_rpm)
