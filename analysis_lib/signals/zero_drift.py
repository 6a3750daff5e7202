"""Zero drift: what a channel reads without load as it follows temperature and time, learnt from all of its checks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.straight_line import fit_linear
from analysis_lib.signals.zero_force import LEGS, force_zeros_of, mean_torque_of_zero, subtract_zero_force
from analysis_lib.signals.zero_torque import ZeroCheck
from analysis_lib.statistics.estimates import Estimate

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ZeroDriftFit:
    """A channel's zero, N m or of a force channel N, as a linear function of temperature and time.

    Attributes
    ----------
    zero : Estimate
        Zero at the mean temperature and mean time of the checks.
    per_degree, per_hour : Estimate or None
        Slopes per °C and per hour; None where the checks cannot tell them.
    mean_temperature_C, mean_time_s : float
        Where `zero` holds.
    residual_sd : float
        Scatter of the checks about the fit.
    covariance : array of shape (terms, terms)
        Of zero and slopes, in that order, those that are there.
    """

    zero: Estimate
    per_degree: Estimate | None
    per_hour: Estimate | None
    mean_temperature_C: float
    mean_time_s: float
    residual_sd: float
    covariance: FloatArray

    def at(self, time_s: ArrayLike, temperature_C: ArrayLike) -> FloatArray:
        """Return the zero expected at times (s) and temperatures (°C), N m or of a force N."""
        hours = (np.asarray(time_s, dtype=float) - self.mean_time_s) / 3600
        warmer = np.asarray(temperature_C, dtype=float) - self.mean_temperature_C
        by_degree = self.per_degree.value if self.per_degree else 0.0
        by_hour = self.per_hour.value if self.per_hour else 0.0
        return self.zero.value + by_degree * warmer + by_hour * hours

    def standard_uncertainty_at(self, time_s: ArrayLike, temperature_C: ArrayLike) -> float:
        """Return the standard uncertainty of the mean zero over times (s) and temperatures (°C), in the zero's unit.

        u² = xᵀ C x with x the mean of (1, temperature − mean, time − mean) and C the covariance of the coefficients,
        their correlation included (JCGM 100:2008, eq. H.15). How far single checks lie off the fit counts through C.
        """
        x = [1.0]
        if self.per_degree:
            x.append(float(np.asarray(temperature_C, dtype=float).mean()) - self.mean_temperature_C)
        if self.per_hour:
            x.append((float(np.asarray(time_s, dtype=float).mean()) - self.mean_time_s) / 3600)
        return math.sqrt(float(np.array(x) @ self.covariance @ np.array(x)))


def fit_zero_drift(checks: Sequence[ZeroCheck], channel: str) -> ZeroDriftFit:
    """Fit zero = a + b·(temperature − mean) + c·(time − mean) to all checks of a channel by least squares.

    Parameters
    ----------
    checks : sequence of ZeroCheck
        With their times on one clock. At least one more check than there are terms; a term whose readings do
        not vary is left out.
    channel : str
        "left", "right" or "total", or a force channel by its name in `zero_force.force_channel`.

    Raises
    ------
    Refusal
        Too few checks, a check without time or temperature, or temperature and time that rose together so that
        their effects cannot be told apart.
    """
    used = [check for check in checks if channel in check.torque]
    missing = [check for check in used if check.at_s is None or check.temperature_C is None]
    if missing or len(used) < 3:
        raise Refusal(
            what=f"zero checks of channel {channel!r}",
            got=f"{len(used)} checks, {len(missing)} of them without a time or a temperature",
            wanted="at least 3 checks with their time and temperature",
            remedy="add checks, or draw the zero line from the checks before and after each trial",
        )
    temperature = np.array([check.temperature_C for check in used], dtype=float)
    hours = np.array([check.at_s for check in used], dtype=float) / 3600
    readings = np.array([check.torque[channel] for check in used])
    terms = {"per °C": temperature - temperature.mean(), "per hour": hours - hours.mean()}
    terms = {name: column for name, column in terms.items() if np.ptp(column) > 0}
    fit = fit_linear({"zero": np.ones(len(used)), **terms}, readings, f"zero checks of channel {channel!r}")
    unit = "N" if _is_force(channel) else "N m"
    units = {"zero": unit, "per °C": f"{unit}/°C", "per hour": f"{unit}/h"}
    found = {name: fit.estimate(name, f"Zero of {channel}, {name}", units[name]) for name in fit.terms}
    return ZeroDriftFit(
        zero=found["zero"],
        per_degree=found.get("per °C"),
        per_hour=found.get("per hour"),
        mean_temperature_C=float(temperature.mean()),
        mean_time_s=float(hours.mean() * 3600),
        residual_sd=fit.residual_sd,
        covariance=fit.covariance,
    )


def remove_zero_drift(
    recording: Recording, fits: Mapping[str, ZeroDriftFit], clock_at_zero_s: float = 0.0
) -> Recording:
    """Return the recording with each channel's fitted zero taken off.

    Parameters
    ----------
    recording : Recording
        With its temperature, where a fit depends on temperature.
    fits : mapping of str to ZeroDriftFit
        By channel. A leg whose torque was made of forces may have the fits of its forces instead; they come off the
        forces, see `zero_force.subtract_zero_force`.
    clock_at_zero_s : float
        What the checks' clock showed when the recording's time was 0.

    Raises
    ------
    Refusal
        A recorded channel without a fit, or a fit on temperature for a recording without one.
    """
    _check_fits(recording, fits)
    time, temperature = _where(recording, clock_at_zero_s)
    zero = {name: fit.at(time, temperature) for name, fit in fits.items()}
    recording = subtract_zero_force(recording, zero)
    torque = {
        name: values - zero[name] if name in zero else values for name, values in recording.torque.items()
    }
    kinds = {"pedal forces" if _is_force(name) else "torque" for name in fits}
    said = f"Zero of {' and of '.join(sorted(kinds))} was taken from a fit of all zero checks on temperature and time."
    return replace(recording, torque=torque, assumptions=(*recording.assumptions, said))


def fit_quality(
    fits: Mapping[str, ZeroDriftFit], recording: Recording, clock_at_zero_s: float = 0.0
) -> dict[str, float]:
    """Return how well the fits know the zero torque of a recording, as entries of its data quality.

    Returns
    -------
    dict
        ``zero_fit_<channel>_Nm``, the standard uncertainty of the channel's mean zero torque, and ``zero_fit_df``, the
        fewest degrees of freedom of a fit. Of a leg whose forces were fitted it is that of the mean torque which they
        make, see `zero_force.mean_torque_of_zero`.
    """
    where = _where(recording, clock_at_zero_s)
    known = {name: fit.standard_uncertainty_at(*where) for name, fit in fits.items()}
    quality = {
        f"zero_fit_{channel}_Nm": known[channel]
        if channel in known
        else mean_torque_of_zero(recording, channel, known)
        for channel in recording.torque
    }
    return quality | {"zero_fit_df": min(float(fit.zero.df) for fit in fits.values())}


def _check_fits(recording: Recording, fits: Mapping[str, ZeroDriftFit]) -> None:
    for channel in recording.torque:
        own = [name for name in (channel, *force_zeros_of(channel, fits).values()) if name in fits]
        warm = recording.temperature_C is None and any(fits[name].per_degree is not None for name in own)
        if warm or not own:
            raise Refusal(
                what=f"zero drift of channel {channel!r}",
                got="a recording without a temperature" if warm else "no fit for the channel",
                wanted="a fit for every channel, and a temperature where the fit depends on it",
                remedy="map temperature_C, or draw the zero line from the checks before and after the trial",
                scope="trial",
            )


def _where(recording: Recording, clock_at_zero_s: float) -> tuple[FloatArray, FloatArray | float]:
    temperature = 0.0 if recording.temperature_C is None else recording.temperature_C
    return recording.time_s + clock_at_zero_s, temperature


def _is_force(channel: str) -> bool:
    return any(force_zeros_of(leg, [channel]) for leg in LEGS)
