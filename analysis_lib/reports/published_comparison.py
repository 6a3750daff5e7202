"""The published effects of oval rings beside what mechanics predicts at their own ring and cadence."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import axial_phase_deg
from analysis_lib.mechanics.prediction import ROUND, StrokePrediction, predict_on_oval
from analysis_lib.mechanics.published_effects import EFFECTS, PublishedEffect
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.mechanics.stroke_slope import LOWEST_OPTIMAL_CADENCE_RPM, StrokeSlope
from analysis_lib.reports.rider_legs import StatedLegs
from analysis_lib.reports.ring_joints import matching_cadences

TEETH, ANGLES = 52, 72
"""Every fifth degree: strokes are smooth, and a table of published work wants some thousand turns."""

LIKELY_RIPPLES = (0.5, 0.9)
"""Second harmonic of two-leg torque over its mean at 60 to 100 rpm (recalled; 0.53 computed from Park & Caldwell 2021)."""

UNKNOWN_MOUNTS_DEG = (-45.0, 0.0, 45.0)
"""Largest arm from the torque phase where a source does not tell it: as far as a mount gives nothing away."""

UNKNOWN_INERTIAS_KGM2 = (5.0, math.inf)
"""Crank inertial load of an ergometer that is not told, up to a chain of steady speed."""


@dataclass(frozen=True)
class ComparedEffect:
    """A published effect and the predicted band.

    Attributes
    ----------
    published : PublishedEffect
    low_pct, high_pct : float
        Band over the assumptions, % of round; NaN where mechanics predicts nothing to compare.
    low_in_phase_pct, high_in_phase_pct : float
        The part of the band with the largest arm at the torque phase.
    cases : int
        Combinations of assumptions that the band spans.
    """

    published: PublishedEffect
    low_pct: float
    high_pct: float
    low_in_phase_pct: float
    high_in_phase_pct: float
    cases: int

    @property
    def verdict(self) -> str:
        """Where the published effect lies to the band."""
        return "not compared" if not self.cases else self.published.verdict(self.low_pct, self.high_pct)


def compare_published(
    torque_Nm: np.ndarray,
    legs: StatedLegs,
    slope: StrokeSlope,
    effects: tuple[PublishedEffect, ...] = EFFECTS,
) -> list[ComparedEffect]:
    """Run the model at the ring and cadence of each published effect, over every combination of assumptions.

    Parameters
    ----------
    torque_Nm : array of shape (angles,)
        Two-leg torque of a round-ring stroke; its shape counts, as does the likely range of its second harmonic.
    legs : StatedLegs
        At `ANGLES` angles.
    slope : StrokeSlope
        Taken beside the two published lines of maximal torque.
    """
    return [_compare(effect, torque_Nm, legs, slope) for effect in effects]


def to_frame(compared: list[ComparedEffect]) -> pd.DataFrame:
    """One row a published effect, what is known of it, the predicted band and the verdict."""
    return pd.DataFrame([_row(part) for part in compared])


def _row(part: ComparedEffect) -> dict[str, object]:
    effect = part.published
    low, high = effect.interval_pct or (math.nan, math.nan)
    return {
        "source": effect.source,
        "kind": effect.kind,
        "reported": effect.result,
        "quantity": effect.quantity,
        "effort": effect.effort,
        "sample": effect.sample,
        "axis_ratio": _span(effect.axis_ratio),
        "cadence_rpm": _span(effect.cadence_rpm),
        "published_pct": math.nan if effect.effect_pct is None else effect.effect_pct,
        "published_low_pct": low,
        "published_high_pct": high,
        "interval_from": effect.interval_from,
        "predicted_low_pct": part.low_pct,
        "predicted_high_pct": part.high_pct,
        "in_phase_low_pct": part.low_in_phase_pct,
        "in_phase_high_pct": part.high_in_phase_pct,
        "cases": part.cases,
        "verdict": part.verdict,
        "doubts": effect.doubts,
    }


def _span(ends: tuple[float, float]) -> str:
    low, high = (f"{end:g}" for end in ends)
    return low if low == high else f"{low} to {high}"


def _compare(
    effect: PublishedEffect, torque: np.ndarray, legs: StatedLegs, slope: StrokeSlope
) -> ComparedEffect:
    cases = [*_cases(effect, torque, legs, slope)]
    if not cases:
        return ComparedEffect(effect, math.nan, math.nan, math.nan, math.nan, 0)
    changes = [change for _, change in cases]
    in_phase = [change for offset, change in cases if offset == 0]
    return ComparedEffect(effect, min(changes), max(changes), min(in_phase), max(in_phase), len(changes))


def _cases(
    effect: PublishedEffect, torque: np.ndarray, legs: StatedLegs, slope: StrokeSlope
) -> Iterator[tuple[float, float]]:
    """Largest arm from the torque phase (deg), and predicted change (% of round), for every set of assumptions."""
    if effect.quantity == "not predicted":
        return
    ratios, cadences = sorted(set(effect.axis_ratio)), sorted(set(effect.cadence_rpm))
    if effect.quantity == "pedal speed":
        for ratio, cadence in product(ratios, cadences):
            yield from ((0.0, 100 * (match / cadence - 1)) for match in matching_cadences(ratio, cadence))
        return
    given = effect.mount_optimised
    offsets, inertias = ((0.0,), (math.inf,)) if given else (UNKNOWN_MOUNTS_DEG, UNKNOWN_INERTIAS_KGM2)
    strokes, slopes = _strokes(torque), _slopes(slope)
    for ratio, offset, inertia, stroke in product(ratios, offsets, inertias, strokes):
        drives = _drivetrains(ratio, inertia, axial_phase_deg(stroke) + offset)
        for cadence, each in product(cadences, slopes):
            at_speed = (*drives, stroke, cadence, each.slope_Nms(stroke, cadence))
            changes = (
                _changes_of_power(*at_speed)
                if effect.quantity == "power"
                else _changes_of_speed(effect.quantity, predict_on_oval(*at_speed, legs.pair))
            )
            yield from ((offset, change) for change in changes)


def _slopes(slope: StrokeSlope) -> list[StrokeSlope]:
    """The two published lines of maximal torque, and the rider's own slope where one is known."""
    lines = [StrokeSlope(), StrokeSlope(optimal_cadence_rpm=LOWEST_OPTIMAL_CADENCE_RPM)]
    return lines if slope.origin == "assumed" else [*lines, slope]


def _strokes(torque: np.ndarray) -> list[np.ndarray]:
    """The stroke itself, and with the likely ends of its second harmonic over its mean."""
    thinned = torque[:: torque.size // ANGLES]
    return [thinned, *(with_ripple(thinned, ripple) for ripple in LIKELY_RIPPLES)]


def with_ripple(torque_Nm: np.ndarray, ripple: float) -> np.ndarray:
    """Return a stroke whose second harmonic is `ripple` times its mean, its phase and all else unchanged."""
    spectrum = np.fft.rfft(torque_Nm)
    spectrum[2] *= ripple * spectrum[0].real / (2 * abs(spectrum[2]))
    return np.fft.irfft(spectrum, n=torque_Nm.size)


def _drivetrains(ratio: float, crank_load_kgm2: float, peak_arm_deg: float) -> tuple[Drivetrain, Drivetrain]:
    on_round = Drivetrain(Ring.round(TEETH))
    gear = TEETH / on_round.sprocket_teeth
    on_round = replace(on_round, wheel_inertia_kgm2=crank_load_kgm2 / gear**2)
    oval = replace(on_round, ring=Ring.ellipse(TEETH, ratio))
    return on_round, oval.with_mount(oval.mount_for_peak_arm(peak_arm_deg % 180.0))


def _changes_of_power(
    on_round: Drivetrain, oval: Drivetrain, torque: np.ndarray, cadence_rpm: float, slope: np.ndarray
) -> list[float]:
    """Change of power at the same mean cadence: none with unchanged force or joint torques, and by the surface.

    Unchanged force leaves the torque alone, and unchanged joint torques move it about within the turn, by a
    derivative whose mean is nothing: so the mean torque stays, and power is mean torque times mean speed.
    """
    surface = make_stroke(torque, on_round.steady_speed(torque, cadence_rpm), slope)
    turn = steady_turn(oval, surface, Resistance(), mean_cadence_rpm=cadence_rpm)
    return [0.0, 100 * (float(turn.torque_Nm.mean()) / float(torque.mean()) - 1)]


def _changes_of_speed(quantity: str, prediction: StrokePrediction) -> list[float]:
    fastest = prediction.fastest_extension_deg_s(quantity.split()[0])
    return (100 * (fastest.drop(ROUND) / fastest[ROUND] - 1)).tolist()
