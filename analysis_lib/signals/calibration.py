"""Static calibration of a torque channel: its slope under known loads."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.straight_line import fit_linear
from analysis_lib.signals.units import STANDARD_GRAVITY
from analysis_lib.statistics.estimates import Estimate

FloatArray = NDArray[np.float64]
LARGEST_CORRECTION = 0.10  # a slope farther from 1 is a fault to be found, not a correction; common practice
FEWEST_LOADS = 3


def hung_mass_torque(
    mass_kg: ArrayLike,
    crank_length_m: float,
    crank_deg: ArrayLike = 90.0,
    gravity_m_s2: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Return the torque of a mass hung from the pedal spindle: T = m·g·L·sin θ, N m.

    θ is the crank's angle from top dead centre; level and forward it is 90°.

    Examples
    --------
    10 kg on a level crank of 0.17 m: 10 · 9.80665 · 0.17.

    >>> print(hung_mass_torque(10, 0.17).round(6))
    16.671305
    """
    mass = np.asarray(mass_kg, dtype=float)
    return np.asarray(mass * gravity_m_s2 * crank_length_m * np.sin(np.radians(crank_deg)), dtype=float)


@dataclass(frozen=True)
class StaticCalibration:
    """A channel's recorded torque as a straight line of the torque applied.

    Attributes
    ----------
    slope, offset : Estimate
        recorded = offset + slope · applied.
    linearity_pct : float
        Largest distance of a reading from the line, percent of the range of applied torque.
    hysteresis_pct : float
        Largest difference between unloading and loading at the same load, percent of that range; NaN where no
        load was applied both ways.
    largest_load_Nm : float
        Largest torque applied: nothing is known beyond.
    """

    slope: Estimate
    offset: Estimate
    linearity_pct: float
    hysteresis_pct: float
    largest_load_Nm: float

    def sentence(self, channel: str) -> str:
        """Say what was divided out, how sure it is, and up to which load it was seen."""
        found = self.slope.interval(0.95)
        back = "" if math.isnan(self.hysteresis_pct) else f", hysteresis {self.hysteresis_pct:.2f} %"
        return (
            f"Torque of {channel} was divided by its calibration slope {self.slope.value:.4f} (95 % interval "
            f"{found.low:.4f} to {found.high:.4f} from {self.slope.n} loads up to {self.largest_load_Nm:.1f} N·m; "
            f"linearity {self.linearity_pct:.2f} % of the range{back})."
        )


def calibrate_statically(applied_Nm: ArrayLike, recorded_Nm: ArrayLike) -> StaticCalibration:
    """Fit a channel's readings under known loads, in the order in which they were applied.

    Parameters
    ----------
    applied_Nm, recorded_Nm : array_like of shape (loads,)
        Known torque and mean reading of each load; loads going up first and then down show hysteresis.

    Raises
    ------
    Refusal
        Fewer than three readings, or loads that are all alike.
    """
    applied, recorded = np.asarray(applied_Nm, dtype=float), np.asarray(recorded_Nm, dtype=float)
    if applied.shape != recorded.shape or applied.size < FEWEST_LOADS or np.ptp(applied) == 0:
        raise Refusal(
            what="static calibration",
            got=f"{applied.size} loads and {recorded.size} readings, {np.unique(applied).size} of the loads different",
            wanted=f"a reading for each of at least {FEWEST_LOADS} loads, not all alike",
            remedy="hang several masses, going up and down again",
        )
    fit = fit_linear({"offset": np.ones(applied.size), "slope": applied}, recorded, "static calibration")
    reach = float(np.ptp(applied))
    return StaticCalibration(
        slope=fit.estimate("slope", "Recorded over applied torque", ""),
        offset=fit.estimate("offset", "Recorded torque without load", "N m"),
        linearity_pct=100 * float(np.abs(fit.residuals).max()) / reach,
        hysteresis_pct=100 * _largest_return_gap(applied, recorded) / reach,
        largest_load_Nm=float(np.abs(applied).max()),
    )


def apply_calibration(
    recording: Recording, calibrations: dict[str, StaticCalibration], override: bool = False
) -> Recording:
    """Return the recording with each channel divided by its slope.

    The offset is not taken off: it belongs to the zero torque of the trial, which the zero checks tell.

    Raises
    ------
    Refusal
        A slope that differs from 1 by more than 10 %, unless `override` says that it is meant; a calibration of
        a channel that was not recorded.
    """
    for channel, calibration in calibrations.items():
        _check_slope(channel, calibration.slope.value, override)
        if channel not in recording.torque:
            raise Refusal(
                what=f"calibration of channel {channel!r}",
                got=f"a recording of {', '.join(recording.torque)}",
                wanted="a calibration of a recorded channel",
                remedy="correct the channel's name",
            )
    torque = {
        channel: values / calibrations[channel].slope.value if channel in calibrations else values
        for channel, values in recording.torque.items()
    }
    said = tuple(calibration.sentence(channel) for channel, calibration in calibrations.items())
    return replace(recording, torque=torque, assumptions=(*recording.assumptions, *said))


def _check_slope(channel: str, slope: float, override: bool) -> None:
    if override or abs(slope - 1) <= LARGEST_CORRECTION:
        return
    raise Refusal(
        what=f"calibration of channel {channel!r}",
        got=f"a slope of {slope:.4f}",
        wanted=f"within {100 * LARGEST_CORRECTION:g} % of 1",
        remedy="check masses, crank length and angle; if the slope is right, set calibration_override = true for the"
        " recorder in study.toml",
    )


def _largest_return_gap(applied: FloatArray, recorded: FloatArray) -> float:
    """Largest difference between the readings on the way down and on the way up at one load."""
    top = int(np.argmax(np.abs(applied)))
    gaps = []
    for load in np.unique(applied):
        at = np.flatnonzero(np.isclose(applied, load, rtol=0, atol=1e-9))
        up, down = recorded[at[at < top]], recorded[at[at > top]]
        if up.size and down.size:
            gaps.append(abs(down.mean() - up.mean()))
    return float(max(gaps)) if gaps else math.nan
