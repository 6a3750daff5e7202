"""Figures and tables that hold mechanics against what was measured on one rider."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.torque_figures import prediction_panels, speed_panels
from analysis_lib.reports.rider.oval_prediction import OvalPrediction
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.road_shift import RoadShift
from analysis_lib.reports.trials.other_ring import RULE
from analysis_lib.reports.trials.speed_verdict import PHASE_BAND_DEG, SWING_BAND

SPEED_HEADINGS = {
    "swing_pct": "measured swing (%)",
    "rms_pct": "shape misses by (%)",
    "explained_pct": "explained (%)",
    "swing_ratio": "swing, predicted / measured",
    "phase_deg": "turned by (deg)",
}
SPEED_DIGITS = {"swing_pct": 2, "rms_pct": 2, "explained_pct": 1, "swing_ratio": 2, "phase_deg": 1}


def speed_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Draw measured and predicted crank speed through the turn."""
    frame = speed_curves(analysis)
    return FigureExhibit(
        "crank_speed",
        speed_panels(frame),
        "Crank speed through the turn in % of its mean. Lines: measured (round solid, oval dashed); open markers:"
        " predicted from the measured round-ring torque, the ring's geometry and the stated inertia. Where"
        " they part, the inertia is not the stated one, the angle is off, or the rider pushes differently.",
        "Line chart of crank speed through the turn, measured and predicted for both rings, one panel an"
        f" intensity; {_speeds_in_words(frame)}.",
        frame,
    )


def _speeds_in_words(frame: pd.DataFrame) -> str:
    rings = ", ".join(
        f"{ring} {part.min():.0f} to {part.max():.0f} %"
        for ring, part in frame.groupby("ring", sort=False)["measured_pct"]
    )
    apart = (frame["measured_pct"] - frame["predicted_pct"]).abs().max()
    return f"measured {rings} of the mean, at most {apart:.1f} from what is predicted"


def speed_curves(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return measured and predicted speed: ``ring, intensity, crank_deg, measured_pct, predicted_pct``."""
    measured = analysis.mean_curves("speed_rad_s")
    frames = []
    for (intensity, ring), curve in measured.groupby(["intensity", "ring"], sort=False):
        predicted = analysis.ring_comparison(str(intensity)).speeds[str(ring)]
        at_centres = (predicted + np.roll(predicted, -1)) / 2
        frames.append(
            curve.assign(
                measured_pct=100 * curve["speed_rad_s"] / curve["speed_rad_s"].mean(),
                predicted_pct=100 * at_centres / at_centres.mean(),
            )
        )
    return pd.concat(frames, ignore_index=True)


def speed_fit_table(trials: pd.DataFrame) -> TableExhibit:
    """Give the fit of the predicted crank speed for each trial, with a verdict; see `compare_trial_speeds`."""
    low, high = SWING_BAND
    return TableExhibit(
        "speed_fit",
        trials,
        "Crank speed predicted from torque, ring, mount and the stated inertia, against the speed measured. Agrees: swing"
        f" {low:g} to {high:g} of the measured, turned by {PHASE_BAND_DEG:g}° at most, four fifths of the variation"
        f" explained. {RULE}; all conventions, no source.",
        SPEED_HEADINGS,
        SPEED_DIGITS,
    )


def prediction_exhibit(predictions: list[OvalPrediction]) -> FigureExhibit:
    """Draw measured torque on both rings beside what mechanics predicts on the oval."""
    curves = pd.concat([part.curves for part in predictions], ignore_index=True)
    met = ", ".join(f"{part.label} {part.share_met:.0%}" for part in predictions)
    return FigureExhibit(
        "torque_prediction",
        prediction_panels(curves),
        "Torque of both legs. Above: measured on the round ring (solid) and on the oval ring (dashed). Below: oval −"
        " round, measured (dashed, with the pointwise 95 % interval over turns and periods). Grey: what mechanics"
        " predicts on the oval from the round-ring stroke, the range over the assumptions, not a confidence interval.",
        "Line charts of torque, and of its change from round to oval, against crank angle with the predicted bands,"
        f" one column an intensity; the measured interval meets the band over this share of the turn: {met}.",
        curves,
    )


def prediction_table(predictions: list[OvalPrediction]) -> TableExhibit:
    """Give power, peak, phase and meter error that each assumption predicts on the oval ring."""
    frames = [
        part.prediction.summary.assign(intensity=part.intensity)[
            ["intensity", *part.prediction.summary.columns]
        ]
        for part in predictions
    ]
    frame = pd.concat(frames, ignore_index=True)
    return TableExhibit(
        "torque_prediction",
        frame,
        "What each assumption predicts at the same mean cadence; meter error: one speed reading a turn. Peak torque: of the"
        " mean turn, whose peak lies a little below the mean of the turns' own peaks, which the table of the stroke gives.",
        {
            "power_W": "power (W)",
            "peak_torque_Nm": "peak torque (N·m)",
            "torque_phase_deg": "torque phase (deg)",
            "speed_swing_percent": "speed swing (%)",
            "meter_error_percent": "meter error (%)",
        },
        {name: 1 if name != "meter_error_percent" else 2 for name in frame.columns[2:]},
    )


def agreement_table(predictions: list[OvalPrediction]) -> TableExhibit:
    """Give how much of the turn meets the prediction, and how phase and mean torque moved."""
    rows = [
        (
            part.intensity,
            100 * part.share_met,
            part.phase_change_deg,
            *part.predicted_phase_change_deg,
            float(part.curves["change_Nm"].mean()),
        )
        for part in predictions
    ]
    headings = {
        "share_met_percent": "turn that meets the prediction (%)",
        "phase_change_deg": "torque phase moved (deg)",
        "predicted_low_deg": "predicted, lowest (deg)",
        "predicted_high_deg": "predicted, highest (deg)",
        "mean_torque_change_Nm": "mean torque moved (N·m)",
    }
    return TableExhibit(
        "torque_agreement",
        pd.DataFrame(rows, columns=["intensity", *headings]),
        "Measured change of torque, oval − round, against the predicted band.",
        headings,
        dict.fromkeys(headings, 1) | {"share_met_percent": 0},
    )


def road_table(shift: RoadShift) -> TableExhibit:
    """Give the indoor–road term by intensity."""
    frame = shift.to_frame()
    return TableExhibit(
        "road_shift",
        frame,
        "From the inertia recorded with to the road's, by mechanics alone: swing of crank speed, change of torque"
        " (root mean square), and shift of torque phase and wanted mount, road − recorded.",
        {
            "swing_recorded_pct": "swing recorded (%)",
            "swing_road_pct": "swing on the road (%)",
            "torque_rms_Nm": "torque changes by (N·m)",
            "phase_shift_deg": "torque phase (deg)",
            "mount_shift_deg": "wanted mount (deg)",
        },
        dict.fromkeys(frame.columns[1:], 2),
    )
