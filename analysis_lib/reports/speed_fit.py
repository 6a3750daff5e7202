"""The fit of the predicted crank speed to the measured one, trial by trial."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.mechanics.speed_agreement import SpeedAgreement, compare_speeds
from analysis_lib.refusals import Refusal
from analysis_lib.reports.once import once
from analysis_lib.reports.rider_analysis import RiderAnalysis
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.equipment import Role

LEAST_SWING = 0.01
"""Peak-to-peak over mean below which the measured crank speed is too even to judge a prediction by."""

LARGEST_MISS, SWING_BAND, PHASE_BAND_DEG = 0.2, (0.8, 1.25), 10.0
"""What still counts as agreement: unexplained share, ratio of swings, axial phase (conventions, no source)."""

OTHER_RING = "turns as on the other ring: look for rings exchanged in trials.csv or sequences in riders.csv"
FAR_OFF, NEAR, LEAST_TOLD = 3.0, 2.0, 0.005
"""How many times a swing differs to be another ring's, or the same; what is added to both, since small swings are noise."""


@once
def compare_trial_speeds(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return one row a trial: measured swing, how the predicted crank speed fits, and a verdict in words.

    Columns ``trial, ring, intensity, swing_pct, rms_pct, explained_pct, swing_ratio, phase_deg, verdict``. A trial whose
    speed swings as the other ring of the comparison would make it, and by far not as its own, is said to.
    """
    return pd.DataFrame([_trial_speed(analysis, row) for row in analysis.used.itertuples()])


def _trial_speed(analysis: RiderAnalysis, row) -> dict[str, object]:
    labels = {"trial": row.trial, "ring": row.ring, "intensity": row.intensity}
    result = analysis.results[row.trial]
    measured = result.speed_at_angles()
    swing = _swing(measured)
    labels["swing_pct"] = 100 * swing
    try:
        mount = float(row.mount_deg) if row.ring == "oval" else None
        predicted = _predict_speed(analysis, result, row.ring_name, mount)
        fit = compare_speeds(predicted, measured)
    except Refusal as refusal:
        return labels | {"verdict": f"not compared: {refusal.what}, {refusal.got}"}
    exchanged = is_of_other_ring(swing, _swing(predicted), _swing_on_other(analysis, row))
    return labels | {
        "rms_pct": 100 * fit.rms_difference,
        "explained_pct": 100 * fit.share_explained,
        "swing_ratio": fit.swing_ratio,
        "phase_deg": np.nan if fit.phase_difference_deg is None else fit.phase_difference_deg,
        "verdict": OTHER_RING if exchanged else speed_verdict(fit, swing),
    }


def _predict_speed(
    analysis: RiderAnalysis, result: TrialResult, ring_name: str, mount_deg: float | None
) -> NDArray[np.float64]:
    """Predict the crank speed of a trial's stroke, as if on this ring."""
    drivetrain = analysis.study.settings.drivetrain_for(ring_name, mount_deg)
    return drivetrain.steady_speed(result.torque_at_angles(), result.value("cadence_rpm"))


def _swing(speed: NDArray[np.float64]) -> float:
    return float(np.ptp(speed) / speed.mean())


def is_of_other_ring(measured: float, declared: float, other: float) -> bool:
    """Whether a swing of speed is far from that of the declared ring and near that of the other; all as peak-to-peak/mean.

    Examples
    --------
    Declared oval, 12 % expected, 0.9 % measured where a round ring gives 1 %; then an oval ring with much inertia:

    >>> is_of_other_ring(0.009, 0.12, 0.01), is_of_other_ring(0.05, 0.12, 0.01)
    (True, False)
    """

    def times(one: float, two: float) -> float:
        apart = (one + LEAST_TOLD) / (two + LEAST_TOLD)
        return max(apart, 1 / apart)

    return times(measured, declared) > FAR_OFF and times(measured, other) < NEAR


def _swing_on_other(analysis: RiderAnalysis, row) -> float:
    """Predict the swing of the same stroke on the other ring; NaN, which is near nothing, where that cannot be had."""
    other: Role = "round" if row.ring == "oval" else "oval"
    mounts = analysis.trials["mount_deg"].dropna()
    try:
        mount = float(mounts.iloc[0]) if other == "oval" and len(mounts) else None
        name = analysis.study.settings.ring_in_role(other)
        return _swing(_predict_speed(analysis, analysis.results[row.trial], name, mount))
    except Refusal:
        return float("nan")


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
