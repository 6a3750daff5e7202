"""The torque profile: torque against crank angle, its harmonics and the angle on which it is centred."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal

FloatArray = NDArray[np.float64]
FEWEST_ANGLES = 5  # a second harmonic needs more than four
NO_HARMONIC = 1e-12  # of the largest torque; below lies rounding


@dataclass(frozen=True)
class Profile:
    """Mean torque of a channel in each degree of its own crank.

    Attributes
    ----------
    channel : str
        "left", "right", "total".
    crank : str
        Whose crank the angle belongs to: "left" for the left leg, else "right".
    crank_deg : array of shape (360,)
        Middle of each degree: 0.5, 1.5, ...
    mean, se : arrays of shape (360,)
        Mean over kept turns and its standard error, N m.
    n_turns : int
    method : str
    """

    channel: str
    crank: str
    crank_deg: FloatArray
    mean: FloatArray
    se: FloatArray
    n_turns: int
    method: str
    unit: str = "N m"


def torque_phase_deg(torque_Nm: ArrayLike) -> float:
    """Return the axis on which a two-leg torque is centred.

    P = ½ · arg Σ T(θ) e^{2iθ}, half the phase of the second harmonic: for T = T₀[1 + A cos 2(θ − P)] it is P.

    Parameters
    ----------
    torque_Nm : array of shape (angles,)
        Two-leg torque at the right-crank angles 0, 360/N, 2·360/N, … degrees. Means over bins that begin at
        0 belong half a bin later: bring them there by `torque_at_edges`.

    Returns
    -------
    float
        Degrees in [0, 180).

    Raises
    ------
    Refusal
        Fewer than five angles, a missing value, or a torque without a second harmonic.

    Examples
    --------
    >>> angle = np.radians(np.arange(0, 360, 10))
    >>> round(torque_phase_deg(20 + 10 * np.cos(2 * (angle - np.radians(100)))), 9)
    100.0
    """
    torque = _one_turn(torque_Nm)
    angles = 2 * math.pi * np.arange(torque.size) / torque.size
    return _axis_deg(torque, np.sum(torque * np.exp(2j * angles)))


def profile_harmonics(profiles_Nm: FloatArray, orders: int) -> NDArray[np.complex128]:
    """Return harmonics 1 to `orders` of profiles of bin means as complex numbers.

    Harmonic k is A·e^{ikP}: the torque A cos k(θ − P) with its peak at P. The mean over a bin of width w
    weakens harmonic k by sin(kw/2)/(kw/2), which is undone, and centres it half a bin late, which is kept
    right.

    Parameters
    ----------
    profiles_Nm : array of shape (..., bins)
        Bin means, the first bin beginning at 0.
    orders : int
        Highest harmonic, below half the number of bins.

    Returns
    -------
    complex array of shape (..., orders)
        ``abs`` gives amplitudes, `harmonic_angle_deg` the angles of their peaks.
    """
    bins = profiles_Nm.shape[-1]
    order = np.arange(1, orders + 1)
    spectrum = np.fft.rfft(profiles_Nm, axis=-1)[..., 1 : orders + 1]
    return 2 / bins * np.conj(spectrum) * np.exp(1j * math.pi * order / bins) / np.sinc(order / bins)


def harmonic_angle_deg(harmonic: NDArray[np.complex128], order: int | NDArray[np.int64]) -> FloatArray:
    """Return the angle of a harmonic's first peak, degrees in [0, 360/order); of several, each with its order."""
    return wrap_deg(np.degrees(np.angle(harmonic)) / order, 360 / order)


def torque_at_edges(profile: FloatArray) -> FloatArray:
    """Return values at the angles 0, 360/N, … of a profile of bin means over the bins that begin there.

    Through the profile's Fourier series, with the weakening by the bin undone. It serves any quantity that
    was averaged over bins.
    """
    bins = profile.shape[-1]
    return np.fft.irfft(np.fft.rfft(profile, axis=-1) * _half_a_bin_back(bins), n=bins, axis=-1)


@lru_cache(maxsize=4)
def _half_a_bin_back(bins: int) -> NDArray[np.complex128]:
    """By what each order of a Fourier series of bin means is multiplied to stand where its bins begin."""
    order = np.arange(bins // 2 + 1)
    return np.exp(-1j * math.pi * order / bins) / np.sinc(order / bins)


def positive_torque_centre(profiles_Nm: FloatArray) -> NDArray[np.complex128]:
    """Return Σ max(T, 0) e^{iθ} over the bins; its angle is the circular mean of one leg's positive torque.

    Parameters
    ----------
    profiles_Nm : array of shape (..., bins)
        Bin means of one leg against its own crank.

    Returns
    -------
    complex array of shape (...,)
    """
    parts = np.maximum(profiles_Nm, 0.0) @ _directions(profiles_Nm.shape[-1])
    return parts[..., 0] + 1j * parts[..., 1]


@lru_cache(maxsize=4)
def _directions(bins: int) -> FloatArray:
    """Cosine and sine of the middle of every bin."""
    centres = 2 * math.pi * (np.arange(bins) + 0.5) / bins
    return np.column_stack([np.cos(centres), np.sin(centres)])


def wrap_deg(angle_deg: FloatArray | float, period: FloatArray | float) -> FloatArray:
    """Bring angles into [0, period); rounding never yields the period itself."""
    wrapped = np.mod(angle_deg, period)
    return np.where(wrapped >= period, 0.0, wrapped)


def _one_turn(torque_Nm: ArrayLike) -> FloatArray:
    torque = np.asarray(torque_Nm, dtype=float)
    if torque.ndim == 1 and torque.size >= FEWEST_ANGLES and np.isfinite(torque).all():
        return torque
    missing = int(np.count_nonzero(~np.isfinite(torque)))
    raise Refusal(
        what="torque_Nm",
        got=f"shape {torque.shape} with {missing} missing or infinite values",
        wanted=f"one turn of at least {FEWEST_ANGLES} equally spaced angles, a finite torque at each",
        remedy="give the mean turn, 0 to 360 degrees with the end left out",
        scope="trial",
    )


def _axis_deg(torque: FloatArray, second_harmonic: complex) -> float:
    if abs(second_harmonic) <= NO_HARMONIC * max(np.abs(torque).sum(), NO_HARMONIC):
        raise Refusal(
            what="torque phase",
            got="a torque that does not vary twice a turn",
            wanted="a two-leg torque with a second harmonic",
            remedy="look at the torque profile: without two driving strokes a turn there is no torque phase",
            scope="trial",
        )
    return float(wrap_deg(np.degrees(np.angle(second_harmonic)) / 2, 180.0))
