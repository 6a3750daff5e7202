"""The losses of a mounting: four criteria by which one mount angle can be worse than another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.ring import FloatArray

ComplexArray = NDArray[np.complex128]

HIGHEST_HARMONIC = 40

CRITERIA = {
    "arm at the torque phase": "shortfall of the lever arm at the torque phase, as a share of the largest arm",
    "crank speed": "standard deviation of crank speed over its mean",
    "peak force": "peak crank torque over mean, if the wheel gets the same torque at every angle as before",
    "dead centres": "torque missing below its mean, averaged over time, over mean torque",
}
"""Name of each criterion and what its loss is; smaller is better for all."""


@dataclass(frozen=True)
class TurnedRing:
    """Relative gear and its harmonics, of a ring whose mounting only turns them: g(θ; m) = g(θ + m; 0).

    Attributes
    ----------
    gear : array of shape (angles,)
        Gear at mount 0 over its mean.
    harmonics : complex array of shape (harmonics,)
        Complex amplitudes of the orders 1, 2, … of `gear`.
    drivetrain : Drivetrain
    """

    drivetrain: Drivetrain
    gear: FloatArray
    harmonics: ComplexArray

    def gear_at(self, angles_rad: FloatArray) -> FloatArray:
        """Relative gear at crank angle plus mount angle, on a straight line between samples."""
        return np.interp(angles_rad, crank_angles(self.gear.size), self.gear, period=2 * math.pi)


def turn_ring(drivetrain: Drivetrain, angles: int) -> TurnedRing:
    """Relative gear of the drivetrain at mount 0, at equally spaced angles."""
    gear = drivetrain.with_mount(0.0).gear(crank_angles(angles))
    relative = gear / gear.mean()
    return TurnedRing(drivetrain, relative, _harmonics(relative[None, :])[0])


def mount_losses(
    ring: TurnedRing, torque_Nm: FloatArray, mean_cadence_rpm: float, mounts_rad: FloatArray
) -> dict[str, FloatArray]:
    """Loss of every torque turn at every mount angle, by criterion.

    To first order in the swing of the crank speed, ω = ω̄(1 + δ) with the harmonics

        δₖ = aₖ − bₖ·exp(ikm),   aₖ = Tₖ/(2ik K̄),   bₖ = gₖ·(1 + T̄/(2ik K̄)),   K̄ = ½ I Ḡ² ω̄²,

    so the square of its standard deviation and its products with the torque are short sums for all mounts at
    once. `Drivetrain.steady_speed` is the exact speed; at swings of 20 % the first order is good to a few per
    cent of the loss.

    Parameters
    ----------
    ring : TurnedRing
    torque_Nm : array of shape (turns, angles)
        Two-leg torque of mean or bootstrap turns.
    mean_cadence_rpm : float
    mounts_rad : array of shape (mounts,)

    Returns
    -------
    dict of criterion to array of shape (turns, mounts)
    """
    return {
        "arm at the torque phase": _arm_loss(ring, torque_Nm, mounts_rad),
        "crank speed": _speed_loss(ring, torque_Nm, mean_cadence_rpm, mounts_rad),
        "peak force": _peak_loss(ring, torque_Nm, mounts_rad),
        "dead centres": _dead_centre_loss(ring, torque_Nm, mean_cadence_rpm, mounts_rad),
    }


def _arm_loss(ring: TurnedRing, torque: FloatArray, mounts: FloatArray) -> FloatArray:
    phase = -np.angle(_harmonics(torque)[:, 1]) / 2
    return 1 - ring.gear_at(phase[:, None] + mounts[None, :]) / ring.gear.max()


def _speed_loss(ring: TurnedRing, torque: FloatArray, cadence: float, mounts: FloatArray) -> FloatArray:
    own, turning = _speed_harmonics(ring, torque, cadence)
    turned = _turn(mounts, own.shape[1])
    fixed = (np.abs(own) ** 2 + np.abs(turning) ** 2).sum(axis=1)
    crossed = ((np.conj(own) * turning) @ turned).real
    return np.sqrt(np.maximum(0.0, 2 * fixed[:, None] - 4 * crossed))


def _peak_loss(ring: TurnedRing, torque: FloatArray, mounts: FloatArray) -> FloatArray:
    gears = ring.gear_at(mounts[:, None] + crank_angles(torque.shape[1])[None, :])
    # The peak can only be where the torque is within the whole swing of the gear of its own largest.
    floor = torque.max(axis=1, keepdims=True) * (ring.gear.min() / ring.gear.max())
    near = (torque >= floor).any(axis=0)
    strong, peaks = torque[:, near], np.empty((len(torque), mounts.size))
    for column, gear in enumerate(gears[:, near]):
        peaks[:, column] = (strong * gear).max(axis=1)
    return peaks / (torque @ gears.T / torque.shape[1])


def _dead_centre_loss(ring: TurnedRing, torque: FloatArray, cadence: float, mounts: FloatArray) -> FloatArray:
    missing = np.maximum(0.0, 1 - torque / torque.mean(axis=1, keepdims=True))
    own, turning = _speed_harmonics(ring, torque, cadence)
    weights = np.conj(_harmonics(missing))
    # Time at an angle is (1 − δ) of its share; the mean product of two turns is twice their harmonics'.
    slower = 2 * ((weights * turning) @ _turn(mounts, own.shape[1])).real
    return missing.mean(axis=1)[:, None] + slower - 2 * (weights * own).real.sum(axis=1)[:, None]


def _speed_harmonics(
    ring: TurnedRing, torque: FloatArray, cadence: float
) -> tuple[ComplexArray, ComplexArray]:
    """Harmonics of the relative crank speed: those of the torque, and those that turn with the ring."""
    drivetrain = ring.drivetrain
    mean_gear = drivetrain.ring.teeth / drivetrain.sprocket_teeth
    mean_energy = drivetrain.wheel_inertia_kgm2 * (mean_gear * cadence * 2 * math.pi / 60) ** 2 / 2
    harmonics = _harmonics(torque)
    order = np.arange(1, harmonics.shape[1] + 1)
    # Speed gained per torque; nothing where the inertia, and with it the energy, is infinite.
    gained = 1 / (2 * mean_energy) / (1j * order)
    mean = torque.mean(axis=1, keepdims=True)
    return harmonics * gained, ring.harmonics * (1 + mean * gained)


def _turn(mounts: FloatArray, orders: int) -> ComplexArray:
    return np.exp(1j * np.arange(1, orders + 1)[:, None] * mounts[None, :])


def _harmonics(turns: FloatArray) -> ComplexArray:
    count = turns.shape[1]
    return np.fft.rfft(turns, axis=1)[:, 1 : min(HIGHEST_HARMONIC, (count - 1) // 2) + 1] / count
