"""The stroke: how each turn was ridden, one row of measures a turn."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.torque_profile import (
    harmonic_angle_deg,
    positive_torque_centre,
    profile_harmonics,
    wrap_deg,
)

FloatArray = NDArray[np.float64]
HARMONICS = 8
DEAD_CENTRE_WINDOW_DEG = 45  # on either side of a dead centre
SUFFIX = {"total": "", "left": "_left", "right": "_right"}


def turn_measures(turns: Turns) -> pd.DataFrame:
    """Measure every kept turn.

    Parameters
    ----------
    turns : Turns
        From `cut_turns`; dropped turns are left out.

    Returns
    -------
    DataFrame
        One row a kept turn. Of the turn: ``turn, start_s, duration_s, cadence_rpm, speed_variation_pct,
        power_W``. Of each channel that was measured or is a sum of measured ones, its columns carry
        ``_left``, ``_right`` or, for both legs together, nothing: see `channel_measures`. With two legs also
        ``left_share_pct`` and ``right_share_pct``. A leg's angles are those of its own crank; angles of both
        together are those of the right crank. What the channels cannot tell has no column.

        - power = ∫ T dθ over the turn / its duration; from one leg alone it is twice that leg's.
        - share of a leg = its work / the work of both, in percent.
        - speed variation = (largest − smallest crank speed) / mean, in percent; see `crank_speed_deg_s`.

    Raises
    ------
    Refusal
        When no turn was kept.
    """
    turns = turns.only_kept()
    speed = crank_speed_deg_s(turns)
    columns = {
        "turn": turns.number,
        "start_s": turns.start_s,
        "duration_s": turns.duration_s,
        "cadence_rpm": 60 / turns.duration_s,
        "speed_variation_pct": 100 * np.ptp(speed, axis=1) * turns.duration_s / 360,
        "power_W": 2 * math.pi * turns.two_leg_torque_Nm / turns.duration_s,
    }
    for channel in sorted(turns.profiles, key=list(SUFFIX).index):
        columns |= channel_measures(turns, channel)
    if {"left", "right"} <= turns.profiles.keys():
        share = 100 * columns["mean_torque_left_Nm"] / columns["mean_torque_Nm"]
        columns |= {"left_share_pct": share, "right_share_pct": 100 - share}
    if "total" in turns.profiles:
        columns |= dead_centre_measures(turns.profiles["total"], speed)
    return pd.DataFrame(columns)


def what_is_unknown(layout: str) -> tuple[str, ...]:
    """Return, as sentences, what the channels of a layout cannot tell and what was assumed instead."""
    if layout == "two legs":
        return ()
    if layout == "total only":
        return (
            "Only the torque of both legs together was measured: the legs' shares and strokes are unknown.",
        )
    leg = layout.split()[0]
    return (
        f"Only the {leg} leg's torque was measured: power is twice the {leg} leg's, assuming that both legs "
        f"do the same work; with a {leg} share of s it errs by the relative amount 2s − 1.",
        "The other leg's stroke, the legs' shares, the dead centres of both legs together and their torque "
        "phase are unknown.",
    )


def own_crank_profiles(turns: Turns, channel: str) -> FloatArray:
    """Return a channel's profiles against its own crank: the left crank is half a turn from the right one."""
    return to_own_crank(turns.profiles[channel], channel)


def own_crank_mean(turns: Turns, channel: str) -> FloatArray:
    """Return the mean of `own_crank_profiles` over turns."""
    return to_own_crank(turns.profiles[channel].mean(axis=0), channel)


def to_own_crank(profiles: FloatArray, channel: str) -> FloatArray:
    """Turn profiles against the right crank, shape (..., bins), to the crank of their own channel."""
    return np.roll(profiles, profiles.shape[-1] // 2, axis=-1) if channel == "left" else profiles


def crank_speed_deg_s(turns: Turns) -> FloatArray:
    """Return the crank speed at the middle of each degree, shape (turns, 360): 1° over its smoothed time."""
    return 1 / smooth_bin_time(turns.bin_time_s)


def smooth_bin_time(bin_time_s: FloatArray) -> FloatArray:
    """Smooth the time that each degree takes to its first eight harmonics, shape (..., 360) as given.

    The few samples in one degree, or one step of an encoder, say little about speed there. A standstill makes
    harmonics overshoot; no degree counts as passed in less than a tenth of its share of the turn.
    """
    spectrum = np.fft.rfft(bin_time_s, axis=-1)
    spectrum[..., HARMONICS + 1 :] = 0
    smooth = np.fft.irfft(spectrum, n=bin_time_s.shape[-1], axis=-1)
    return np.maximum(smooth, bin_time_s.mean(axis=-1, keepdims=True) / 10)


def channel_measures(turns: Turns, channel: str) -> dict[str, FloatArray]:
    """Measure one channel, angle by angle except where time is named.

    - power, mean torque; peak torque: the largest one-degree mean, its angle from the parabola through it and
      its neighbours; for a leg also the smallest, likewise.
    - torque phase: of both legs, half the phase of the second harmonic, modulo 180; of one leg, the circular
      mean of its positive torque, modulo 360.
    - harmonics 1 to 8: amplitude, and angle of the first peak, modulo 360/k.
    - positive and negative impulse: ∫ T dt over the degrees where T is above, or below, zero, N m s; their
      proportion T⁺ / (T⁺ + |T⁻|). The name is from García-López et al. 2016, J Sports Sci 34:1619; formulas
      differ between authors, so this one is stated.
    - evenness: mean torque / peak torque (Korff et al. 2007, Med Sci Sports Exerc 39:991; formula from
      memory).
    """
    profiles, suffix = own_crank_profiles(turns, channel), SUFFIX[channel]
    bin_time = to_own_crank(turns.bin_time_s, channel)
    mean = profiles.mean(axis=1)
    peak, peak_deg = profile_peak(profiles)
    harmonics = profile_harmonics(profiles, HARMONICS)
    impulse = np.einsum("tb,tb->t", profiles, bin_time)
    positive = np.einsum("tb,tb->t", np.maximum(profiles, 0), bin_time)
    magnitude = 2 * positive - impulse
    columns = {
        f"mean_torque{suffix}_Nm": mean,
        f"peak_torque{suffix}_Nm": peak,
        f"peak_torque{suffix}_deg": peak_deg,
        f"torque_phase{suffix}_deg": harmonic_angle_deg(harmonics[:, 1], 2),
        f"positive_impulse{suffix}_Nms": positive,
        f"negative_impulse{suffix}_Nms": impulse - positive,
        f"positive_impulse_proportion{suffix}": positive / magnitude,
        f"evenness{suffix}": mean / peak,
    }
    if suffix:
        least, least_deg = profile_peak(-profiles)
        columns[f"power{suffix}_W"] = 2 * math.pi * mean / turns.duration_s
        columns |= {f"min_torque{suffix}_Nm": -least, f"min_torque{suffix}_deg": least_deg}
        columns[f"torque_phase{suffix}_deg"] = harmonic_angle_deg(positive_torque_centre(profiles), 1)
    orders = np.arange(1, HARMONICS + 1)
    each = zip(orders, np.abs(harmonics).T, harmonic_angle_deg(harmonics, orders).T, strict=True)
    for order, amplitude, angle in each:
        columns |= {f"harmonic_{order}{suffix}_Nm": amplitude, f"harmonic_{order}{suffix}_deg": angle}
    return columns


def dead_centre_measures(total: FloatArray, speed: FloatArray) -> dict[str, FloatArray]:
    """Measure the two-leg torque near the right crank's top and bottom dead centre.

    The smallest torque within 45° of each, with its angle; and the dead-centre size, the mean of the smallest
    power near the two over the mean power of the turn (Leirdal & Ettema 2011, Med Sci Sports Exerc; formula
    from memory).
    """
    power = total * speed
    mean_power = (total.mean(axis=1)) / (1 / speed).mean(axis=1)
    columns, least_power = {}, []
    for name, centre in (("top", 0), ("bottom", 180)):
        bins = np.arange(centre - DEAD_CENTRE_WINDOW_DEG, centre + DEAD_CENTRE_WINDOW_DEG)
        near = -np.take(total, bins, axis=1, mode="wrap")
        least, place = _parabola_peak(near, np.argmax(near, axis=1), wrap=False)
        columns[f"{name}_min_torque_Nm"] = -least
        columns[f"{name}_min_torque_deg"] = wrap_deg(bins[0] + place + 0.5, 360.0)
        least_power.append(np.take(power, bins, axis=1, mode="wrap").min(axis=1))
    return columns | {"dead_centre_size": (least_power[0] + least_power[1]) / 2 / mean_power}


def profile_peak(profiles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the largest bin of each profile, and its angle (degrees) from a parabola through three bins.

    Examples
    --------
    Equal largest bins from 10° to 11° and from 11° to 12°: the peak lies between them.

    >>> profile = np.zeros((1, 360))
    >>> profile[0, 9:13] = [1, 2, 2, 1]
    >>> print(*profile_peak(profile))
    [2.] [11.]
    """
    peak, place = _parabola_peak(profiles, np.argmax(profiles, axis=1), wrap=True)
    return peak, wrap_deg((place + 0.5) * 360 / profiles.shape[1], 360.0)


def _parabola_peak(rows: FloatArray, at: NDArray[np.intp], wrap: bool) -> tuple[FloatArray, FloatArray]:
    """Largest value of each row, and the fractional place of the vertex through it and its neighbours."""
    size = rows.shape[1]
    row = np.arange(rows.shape[0])
    before, after = (at - 1, at + 1) if wrap else (np.maximum(at - 1, 0), np.minimum(at + 1, size - 1))
    low, top, high = rows[row, before % size], rows[row, at], rows[row, after % size]
    curvature = low - 2 * top + high
    inside = (curvature < 0) & (wrap | ((at > 0) & (at < size - 1)))
    offset = np.where(inside, (low - high) / np.where(inside, 2 * curvature, 1.0), 0.0)
    return top, np.asarray(at + offset, dtype=float)
