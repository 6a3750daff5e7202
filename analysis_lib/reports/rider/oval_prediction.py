"""The torque that mechanics predicts on the oval ring, beside the torque that the rider gave there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.periodic import axial_change_deg, axial_phase_deg
from analysis_lib.mechanics.prediction import ROUND, StrokePrediction, predict_on_oval
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.stroke_draws import StrokeDraws


@dataclass(frozen=True)
class OvalPrediction:
    """Torque predicted on the oval ring, beside the torque measured there, at one intensity.

    Attributes
    ----------
    intensity, label : str
        Its name in files, and what pages call it.
    prediction : StrokePrediction
    curves : DataFrame
        One row a degree: ``intensity, crank_deg, round_Nm, oval_Nm, predicted_low_Nm, predicted_high_Nm`` and,
        oval − round, ``change_Nm, change_low_Nm, change_high_Nm, predicted_change_low_Nm,
        predicted_change_high_Nm``; the interval of the measured change is pointwise, 95 %, over turns and periods.
    phase_change_deg : float
        Measured torque phase on the oval ring minus round, an axial difference.
    predicted_phase_change_deg : (float, float)
        Its range over the assumptions.
    slope : StrokeSlope
        How torque falls with crank speed on the unchanged surface.
    """

    intensity: str
    label: str
    prediction: StrokePrediction
    curves: pd.DataFrame
    phase_change_deg: float
    predicted_phase_change_deg: tuple[float, float]
    slope: StrokeSlope

    @property
    def share_met(self) -> float:
        """Share of the turn in which the interval of the measured change meets the predicted band."""
        rows = self.curves
        meets = (rows["change_low_Nm"] <= rows["predicted_change_high_Nm"]) & (
            rows["change_high_Nm"] >= rows["predicted_change_low_Nm"]
        )
        return float(meets.mean())


def predict_for_rider(analysis: RiderAnalysis, intensity: str) -> OvalPrediction:
    """Carry the round-ring stroke to the oval ring as it was ridden, and set the measured torque beside it.

    Raises
    ------
    Refusal
        Where both rings were not ridden at this intensity, or both legs' torque is not known.
    """
    ridden = set(analysis.used.loc[analysis.used["intensity"] == intensity, "ring"])
    if ridden != {"round", "oval"} or not analysis.ridden_mounts_deg:
        raise Refusal(
            f"rider {analysis.rider}, intensity {intensity}",
            f"trials on {' and '.join(sorted(ridden)) or 'no ring'}",
            "trials on both rings, the oval one at a stated mount",
            "ride both rings at this intensity",
            "rider",
            analysis.rider,
        )
    before = analysis.stroke.mean_Nm[intensity]
    oval = analysis.ring_draws(intensity, "oval")
    drives, cadence = analysis.drivetrains(analysis.mount_deg), analysis.stroke.cadence_rpm[intensity]
    legs = analysis.legs_if_known
    prediction = predict_on_oval(
        drives["round"],
        drives["oval"],
        before,
        cadence,
        analysis.slope.slope_Nms(before, cadence),
        legs.pair if legs else None,
    )
    phases = prediction.summary.set_index("assumption")["torque_phase_deg"]
    changes = axial_change_deg(phases.drop(ROUND) - phases[ROUND])
    measured = axial_change_deg(axial_phase_deg(oval.mean_Nm[intensity]) - phases[ROUND])
    return OvalPrediction(
        intensity,
        analysis.study.settings.intensity_label(intensity),
        prediction,
        _curves(analysis.stroke, oval, prediction, intensity),
        float(measured),
        (float(changes.min()), float(changes.max())),
        analysis.slope,
    )


def _curves(
    before: StrokeDraws, after: StrokeDraws, prediction: StrokePrediction, intensity: str
) -> pd.DataFrame:
    """Put torque on the round and the oval ring beside what is predicted, each with what it changes."""
    on_round, on_oval, band = before.mean_Nm[intensity], after.mean_Nm[intensity], prediction.band()
    change = after.torque_Nm[intensity] - before.torque_Nm[intensity]
    low, high = np.quantile(change, [0.025, 0.975], axis=0)
    return pd.DataFrame(
        {
            "intensity": intensity,
            "crank_deg": band["crank_deg"],
            "round_Nm": on_round,
            "oval_Nm": on_oval,
            "predicted_low_Nm": band["torque_low_Nm"],
            "predicted_high_Nm": band["torque_high_Nm"],
            "change_Nm": on_oval - on_round,
            "change_low_Nm": low,
            "change_high_Nm": high,
            "predicted_change_low_Nm": band["torque_low_Nm"] - on_round,
            "predicted_change_high_Nm": band["torque_high_Nm"] - on_round,
        }
    )
