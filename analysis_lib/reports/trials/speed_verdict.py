"""The verdict, in words, on how a predicted crank speed fits the measured one."""

from __future__ import annotations

from analysis_lib.mechanics.speed_agreement import SpeedAgreement

LEAST_SWING = 0.01
"""Peak-to-peak over mean below which the measured crank speed is too even to judge a prediction by."""

LARGEST_MISS, SWING_BAND, PHASE_BAND_DEG = 0.2, (0.8, 1.25), 10.0
"""What still counts as agreement: unexplained share, ratio of swings, axial phase (conventions, no source)."""

AGREES, TOO_EVEN = "agrees", "too even to judge"


def speed_verdict(fit: SpeedAgreement, measured_swing: float) -> str:
    """Say in words whether a predicted crank speed fits the measured one, and where it does not what to look at."""
    if measured_swing < LEAST_SWING:
        return TOO_EVEN
    low, high = SWING_BAND
    reasons = []
    if is_turned(fit):
        reasons.append("turned: check the crank angle and the mount")
    if fit.swing_ratio > high:
        reasons.append("predicted swing too large: more inertia than stated, or a rounder ring")
    if fit.swing_ratio < low:
        reasons.append("predicted swing too small: less inertia than stated, or a more oval ring")
    if not reasons and fit.share_explained < 1 - LARGEST_MISS:
        reasons.append("another shape: resistance that is not constant, slack or flex")
    return "; ".join(reasons) or AGREES


def is_turned(fit: SpeedAgreement) -> bool:
    """Whether the two waves a turn of the predicted speed lie elsewhere than those of the measured one."""
    return fit.phase_difference_deg is not None and abs(fit.phase_difference_deg) > PHASE_BAND_DEG
