"""The turn: a quantity sampled at equally spaced crank angles from top dead centre, end excluded."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal

FEWEST_ANGLES = 8


def crank_angles(count: int) -> NDArray[np.float64]:
    """`count` equally spaced crank angles in radians, 0 to 2π with the end excluded."""
    return np.linspace(0, 2 * math.pi, count, endpoint=False)


def check_turn(values: ArrayLike, what: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return `values` as one finite turn together with its crank angles (rad), or refuse."""
    turn = np.asarray(values, dtype=float)
    if turn.ndim != 1 or turn.size < FEWEST_ANGLES:
        raise Refusal(
            what,
            f"an array of shape {turn.shape}",
            f"one turn: a single row of at least {FEWEST_ANGLES} equally spaced angles",
            "give the mean turn, 0 to 360 degrees with the end excluded",
        )
    missing = int(np.count_nonzero(~np.isfinite(turn)))
    if missing:
        raise Refusal(
            what,
            f"{missing} of {turn.size} values missing or infinite",
            "a finite value at every angle",
            "fill or drop the turns with gaps before averaging them",
        )
    return turn, crank_angles(turn.size)


def integrate_turn(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Periodic integral over angle of a turn, less its mean, at the same angles; the integral has mean zero.

    Each harmonic k is divided by i·k: exact for a turn made of harmonics below half the number of angles.
    Works along the last axis, so several turns may be stacked.
    """
    count = values.shape[-1]
    order = np.arange(count // 2 + 1)
    order[0] = 1
    integral = np.fft.rfft(values) / (1j * order)
    integral[..., 0] = 0.0
    if count % 2 == 0:
        # The highest harmonic is seen at its zeros or its peaks only, so its integral is not known.
        integral[..., -1] = 0.0
    return np.fft.irfft(integral, n=count)


def look_ahead(values: NDArray[np.float64], angle_rad: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Return the values that stand `angle_rad` further on, through the turn's Fourier series: f(θ + angle).

    Parameters
    ----------
    values : array of shape (..., angles)
    angle_rad : float or array of shape (...,)
        One angle for all turns, or one a turn.

    Examples
    --------
    A quarter turn ahead of a cosine is minus its sine.

    >>> angle = crank_angles(8)
    >>> bool(np.allclose(look_ahead(np.cos(angle), math.pi / 2), -np.sin(angle)))
    True
    """
    count = values.shape[-1]
    return np.fft.irfft(np.fft.rfft(values) * _powers(np.asarray(angle_rad), count // 2 + 1), n=count)


def _powers(angle_rad: NDArray[np.float64], count: int) -> NDArray[np.complex128]:
    """exp(ik·angle) for k from 0 to count − 1: e^{i(am + b)} = e^{iam}·e^{ib}, so few exponentials are taken."""
    width = math.isqrt(count) + 1
    fine = np.exp(1j * np.arange(width) * angle_rad[..., None])
    coarse = np.exp(1j * np.arange(0, count, width) * angle_rad[..., None])
    products = coarse[..., :, None] * fine[..., None, :]
    return products.reshape(*angle_rad.shape, -1)[..., :count]


def differentiate_turn(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Derivative of a turn with respect to angle (per radian): each harmonic k times i·k.

    Works along the last axis, so several quantities may be stacked.
    """
    count = values.shape[-1]
    spectrum = np.fft.rfft(values) * (1j * np.arange(count // 2 + 1))
    if count % 2 == 0:
        spectrum[..., -1] = 0.0
    return np.fft.irfft(spectrum, n=count)


def axial_change_deg(difference_deg: Any) -> Any:
    """Bring a difference of two axes, or an array or series of differences, into [−90, 90) degrees.

    >>> axial_change_deg(178.0 - 2.0), axial_change_deg(90.0)
    (-4.0, -90.0)
    """
    return (difference_deg + 90.0) % 180.0 - 90.0


def axial_phase_deg(values: NDArray[np.float64]) -> float:
    """Axis of the second harmonic of a turn, in [0, 180) degrees: where cos 2(θ − P) is largest.

    NaN where the turn has no second harmonic, and so no axis, as an even torque has none.
    """
    second = np.fft.rfft(values)[2] / values.size
    if abs(second) <= 1e-12 * np.max(np.abs(values)):
        return math.nan
    return (-math.degrees(np.angle(second)) / 2) % 180.0
