"""The speed agreement: how well the predicted crank speed through the turn matches the measured one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis_lib.mechanics.periodic import axial_change_deg, axial_phase_deg, check_turn
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number

SMALLEST_SWING = 1e-4
"""Peak-to-peak over mean below which a speed has no shape to compare."""


@dataclass(frozen=True)
class SpeedAgreement:
    """Predicted against measured crank speed over one turn.

    Attributes
    ----------
    mean_difference : float
        Mean predicted minus mean measured speed, over mean measured speed.
    rms_difference : float
        Root mean square difference of the two speeds, each over its own mean: shape only.
    share_explained : float
        1 − Σ(difference)² / Σ(measured − 1)² of the speeds over their means; 1 is a perfect match, 0 no
        better than a constant speed, negative worse.
    swing_ratio : float
        Peak-to-peak predicted over peak-to-peak measured.
    phase_difference_deg : float or None
        Axis of the second harmonic, predicted minus measured, in [−90, 90); None where either speed has no
        second harmonic to speak of.
    n_angles : int
    """

    mean_difference: float
    rms_difference: float
    share_explained: float
    swing_ratio: float
    phase_difference_deg: float | None
    n_angles: int

    def sentence(self) -> str:
        """The agreement in words."""
        phase = (
            "no second harmonic to compare"
            if self.phase_difference_deg is None
            else f"phase {show_number(self.phase_difference_deg, 1, signed=True)}°"
        )
        mean = show_number(100 * self.mean_difference, 2, signed=True)
        explained = show_number(100 * self.share_explained, 0)
        return (
            f"Predicted crank speed against measured: mean {mean} %, shape within "
            f"{100 * self.rms_difference:.2f} % (root mean square), {explained} % of "
            f"the measured variation explained, swing {self.swing_ratio:.2f} of the measured, {phase}."
        )


def compare_speeds(predicted_rad_s: ArrayLike, measured_rad_s: ArrayLike) -> SpeedAgreement:
    """Compare a predicted with a measured crank speed at the same equally spaced angles.

    Raises
    ------
    Refusal
        Turns that do not match, speeds not above 0, or a measured speed that does not vary.
    """
    predicted, _ = check_turn(predicted_rad_s, "predicted_rad_s")
    measured, _ = check_turn(measured_rad_s, "measured_rad_s")
    slowest = min(predicted.min(), measured.min())
    if predicted.size != measured.size or slowest <= 0:
        raise Refusal(
            "predicted_rad_s and measured_rad_s",
            f"{predicted.size} and {measured.size} angles, smallest {slowest:.3g}",
            "positive speeds at the same angles",
            "predict at the angles of the measured turn",
        )
    shape, truth = predicted / predicted.mean(), measured / measured.mean()
    if np.ptp(truth) < SMALLEST_SWING:
        raise Refusal(
            "measured crank speed",
            f"a speed that varies by {100 * np.ptp(truth):.2g} % of its mean",
            "a speed measured within the turn",
            "use a crank angle sensor; one reading a turn says nothing about the turn's shape",
        )
    difference = shape - truth
    return SpeedAgreement(
        mean_difference=float(predicted.mean() / measured.mean() - 1),
        rms_difference=float(np.sqrt(np.mean(difference**2))),
        share_explained=float(1 - np.sum(difference**2) / np.sum((truth - 1) ** 2)),
        swing_ratio=float(np.ptp(shape) / np.ptp(truth)),
        phase_difference_deg=_phase_difference(shape, truth),
        n_angles=predicted.size,
    )


def _phase_difference(shape: np.ndarray, truth: np.ndarray) -> float | None:
    sizes = [2 * abs(np.fft.rfft(turn)[2]) / turn.size for turn in (shape, truth)]
    if min(sizes) < SMALLEST_SWING / 2 or not all(map(math.isfinite, sizes)):
        return None
    return float(axial_change_deg(axial_phase_deg(shape) - axial_phase_deg(truth)))
