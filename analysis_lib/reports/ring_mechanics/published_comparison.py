"""The published effects of oval rings beside what mechanics predicts at their own ring and cadence."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd

from analysis_lib.mechanics.prediction import ROUND, StrokePrediction, predict_on_oval
from analysis_lib.mechanics.published_effects import EFFECTS, PublishedEffect
from analysis_lib.mechanics.stroke_slope import LOWEST_OPTIMAL_CADENCE_RPM, StrokeSlope
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.reports.ring_mechanics.published_rides import changes_of_power, rides_of
from analysis_lib.reports.ring_mechanics.ring_joints import matching_cadences

ANGLES = 72
"""Every fifth degree: strokes are smooth, and a table of published work wants some thousand turns."""

LIKELY_RIPPLES = (0.5, 0.9)
"""Second harmonic of two-leg torque over its mean at 60 to 100 rpm (recalled; 0.53 computed from Park & Caldwell 2021)."""


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
    if effect.quantity == "pedal speed":
        for ratio, cadence in product(sorted(set(effect.axis_ratio)), sorted(set(effect.cadence_rpm))):
            yield from ((0.0, 100 * (match / cadence - 1)) for match in matching_cadences(ratio, cadence))
        return
    rides = rides_of(effect, _strokes(torque), _slopes(slope))
    if effect.quantity == "power":
        yield from changes_of_power(rides)
        return
    for ride in rides:
        stroke = ride.surface
        prediction = predict_on_oval(
            *ride.drivetrains, stroke.torque_Nm, ride.cadence_rpm, stroke.slope_Nms, legs.pair
        )
        yield from ((ride.offset_deg, change) for change in _changes_of_speed(effect.quantity, prediction))


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


def _changes_of_speed(quantity: str, prediction: StrokePrediction) -> list[float]:
    fastest = prediction.fastest_extension_deg_s(quantity.split()[0])
    return (100 * (fastest.drop(ROUND) / fastest[ROUND] - 1)).tolist()
