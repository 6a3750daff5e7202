"""The crank speed of steady riding on a rigid drivetrain, for one turn or many."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.mechanics.periodic import integrate_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.stroke_model import Stroke
from analysis_lib.mechanics.turn_energy import energy_for_duration
from analysis_lib.refusals import Refusal

SLOWEST_OVER_FASTEST = 0.03
"""Where the crank all but stops within the turn, speed at equal angles no longer describes the motion."""

MOST_PASSES, SETTLED = 30, 1e-13


def steady_speeds(
    torque_Nm: FloatArray,
    gear: FloatArray,
    wheel_inertia_kgm2: ArrayLike,
    mean_cadence_rpm: ArrayLike,
    legs_kgm2: ArrayLike = 0.0,
) -> FloatArray:
    """Crank speed through turns of steady riding against a constant resistance at the wheel.

    The equations are those of `Drivetrain.steady_speed`, which checks one turn and asks here.

    Parameters
    ----------
    torque_Nm, gear : arrays of shape (..., angles)
        Two-leg crank torque and gear G at equally spaced crank angles, 0 to 2π, end excluded.
    wheel_inertia_kgm2, mean_cadence_rpm : float or array of shape (...,)
        Inertia I behind the sprocket, ``math.inf`` for a chain of steady speed; turns per minute.
    legs_kgm2 : float or array of shape (..., angles)
        Inertia that moves with the crank itself.

    Returns
    -------
    array of shape (..., angles)
        rad/s.

    Raises
    ------
    Refusal
        So little inertia that a crank would all but stop within the turn.
    """
    speed = _speeds(torque_Nm, gear, wheel_inertia_kgm2, mean_cadence_rpm, legs_kgm2)
    stalls = speed.min(axis=-1) < SLOWEST_OVER_FASTEST * speed.max(axis=-1)
    if stalls.any():
        weakest = float(np.min(np.broadcast_to(np.asarray(wheel_inertia_kgm2), stalls.shape)[stalls]))
        raise Refusal(
            "wheel_inertia_kgm2",
            f"{weakest:.3g} kg m², with which the crank would all but stop in the turn",
            "enough inertia to carry the crank past the weak part of the stroke",
            "give the inertia at the sprocket (not at the crank), or a torque measured with that inertia",
        )
    return speed


def settle_speeds(
    stroke: Stroke,
    start_rad_s: FloatArray,
    gear: FloatArray,
    wheel_inertia_kgm2: ArrayLike,
    mean_cadence_rpm: ArrayLike,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Crank speed through turns of steady riding whose torque falls with speed, against a constant resistance.

    The speed that the torque at the last speed gives, over and over. A pass leaves about the share s/(2·I·G²·ω) of
    the error, s the fall of torque with speed; so it settles unless the inertia is very small.

    Parameters
    ----------
    stroke : Stroke
        One stroke, or arrays of shape (..., angles) of several.
    start_rad_s : array of shape (..., angles)
        Any speeds to start from.
    gear, wheel_inertia_kgm2, mean_cadence_rpm
        As in `steady_speeds`.

    Returns
    -------
    (array of shape (..., angles), array of shape (...,))
        Speeds in rad/s, and which of them settled: they change by less than 1e-13 of themselves.
    """
    speed = start_rad_s
    settled = np.zeros(speed.shape[:-1], dtype=bool)
    for _ in range(MOST_PASSES):
        following = _speeds(stroke.torque_at(speed), gear, wheel_inertia_kgm2, mean_cadence_rpm)
        settled = np.abs(following / speed - 1).max(axis=-1) < SETTLED
        speed = following
        if settled.all():
            break
    return speed, settled


def _speeds(
    torque_Nm: FloatArray,
    gear: FloatArray,
    wheel_inertia_kgm2: ArrayLike,
    mean_cadence_rpm: ArrayLike,
    legs_kgm2: ArrayLike = 0.0,
) -> FloatArray:
    inertia = np.asarray(wheel_inertia_kgm2, dtype=float)[..., None]
    resistance = torque_Nm.mean(axis=-1, keepdims=True) / gear.mean(axis=-1, keepdims=True)
    # In units of the wheel's inertia: K/I, so that an infinite inertia needs no case of its own.
    stored = integrate_turn(torque_Nm - gear * resistance) / inertia
    weight = np.sqrt(gear**2 + np.asarray(legs_kgm2) / inertia) if np.any(legs_kgm2) else gear
    mean_speed = np.asarray(mean_cadence_rpm) * 2 * math.pi / 60
    level = energy_for_duration(stored, weight, mean_speed)
    return np.sqrt(2 * (stored + level[..., None])) / weight
