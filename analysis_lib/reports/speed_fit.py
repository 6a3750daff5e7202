"""The fit of the predicted crank speed to the measured one, trial by trial."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.speed_agreement import SpeedAgreement, compare_speeds
from analysis_lib.refusals import Refusal
from analysis_lib.reports.once import once
from analysis_lib.reports.other_ring import OTHER_RING, of_another_ring, predict_speed, swing_of
from analysis_lib.reports.rider_analysis import RiderAnalysis

LEAST_SWING = 0.01
"""Peak-to-peak over mean below which the measured crank speed is too even to judge a prediction by."""

LARGEST_MISS, SWING_BAND, PHASE_BAND_DEG = 0.2, (0.8, 1.25), 10.0
"""What still counts as agreement: unexplained share, ratio of swings, axial phase (conventions, no source)."""


@once
def compare_trial_speeds(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return one row a trial: measured swing, how the predicted crank speed fits, and a verdict in words.

    Columns ``trial, ring, intensity, swing_pct, rms_pct, explained_pct, swing_ratio, phase_deg, verdict``. A trial that
    carries the caution of another ring is said to turn as on that.
    """
    exchanged = of_another_ring(analysis.used)
    rows = zip(analysis.used.itertuples(), exchanged, strict=True)
    return pd.DataFrame([_trial_speed(analysis, row, is_other) for row, is_other in rows])


def _trial_speed(analysis: RiderAnalysis, row, is_other: bool) -> dict[str, object]:
    labels = {"trial": row.trial, "ring": row.ring, "intensity": row.intensity}
    result = analysis.results[row.trial]
    measured = result.speed_at_angles()
    swing = swing_of(measured)
    labels["swing_pct"] = 100 * swing
    try:
        mount = float(row.mount_deg) if row.ring == "oval" else None
        predicted = predict_speed(analysis.study.settings, result, row.ring_name, mount)
        fit = compare_speeds(predicted, measured)
    except Refusal as refusal:
        return labels | {"verdict": f"not compared: {refusal.what}, {refusal.got}"}
    return labels | {
        "rms_pct": 100 * fit.rms_difference,
        "explained_pct": 100 * fit.share_explained,
        "swing_ratio": fit.swing_ratio,
        "phase_deg": np.nan if fit.phase_difference_deg is None else fit.phase_difference_deg,
        "verdict": OTHER_RING if is_other else speed_verdict(fit, swing),
    }


def speed_verdict(fit: SpeedAgreement, measured_swing: float) -> str:
    """Say in words whether a predicted crank speed fits the measured one, and where it does not what to look at."""
    if measured_swing < LEAST_SWING:
        return "too even to judge"
    low, high = SWING_BAND
    reasons = []
    if fit.phase_difference_deg is not None and abs(fit.phase_difference_deg) > PHASE_BAND_DEG:
        reasons.append("turned: check the crank angle and the mount")
    if fit.swing_ratio > high:
        reasons.append("predicted swing too large: more inertia than stated, or a rounder ring")
    if fit.swing_ratio < low:
        reasons.append("predicted swing too small: less inertia than stated, or a more oval ring")
    if not reasons and fit.share_explained < 1 - LARGEST_MISS:
        reasons.append("another shape: resistance that is not constant, slack or flex")
    return "; ".join(reasons) or "agrees"
