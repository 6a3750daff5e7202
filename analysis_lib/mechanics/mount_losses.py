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
TURNS_AT_ONCE = 250
"""As many as stay in a processor's cache from one step to the next."""


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
        position = angles_rad * (self.gear.size / (2 * math.pi))
        before = np.floor(position)
        cell = before.astype(int) % self.gear.size
        step = np.roll(self.gear, -1) - self.gear
        return self.gear[cell] + (position - before) * step[cell]


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
    gears = ring.gear_at(mounts_rad[:, None] + crank_angles(torque_Nm.shape[1])[None, :])
    turned = _turn(mounts_rad, ring.harmonics.size)
    losses = {criterion: np.empty((len(torque_Nm), mounts_rad.size)) for criterion in CRITERIA}
    for first in range(0, len(torque_Nm), TURNS_AT_ONCE):
        rows = slice(first, first + TURNS_AT_ONCE)
        torque, harmonics = torque_Nm[rows], _harmonics(torque_Nm[rows])
        speeds = _speed_harmonics(ring, torque, harmonics, mean_cadence_rpm)
        losses["arm at the torque phase"][rows] = _arm_loss(ring, harmonics, mounts_rad)
        losses["crank speed"][rows] = _speed_loss(*speeds, turned)
        losses["peak force"][rows] = _peak_loss(torque, gears)
        losses["dead centres"][rows] = _dead_centre_loss(torque, *speeds, turned)
    return losses


def _arm_loss(ring: TurnedRing, harmonics: ComplexArray, mounts: FloatArray) -> FloatArray:
    phase = -np.angle(harmonics[:, 1]) / 2
    return 1 - ring.gear_at(phase[:, None] + mounts[None, :]) / ring.gear.max()


def _speed_loss(own: ComplexArray, turning: ComplexArray, turned: FloatArray) -> FloatArray:
    fixed = (np.abs(own) ** 2 + np.abs(turning) ** 2).sum(axis=1)
    crossed = _real_product(np.conj(own) * turning, turned)
    return np.sqrt(np.maximum(0.0, 2 * fixed[:, None] - 4 * crossed))


def _peak_loss(torque: FloatArray, gears: FloatArray) -> FloatArray:
    relative = torque / torque.max(axis=1, keepdims=True)
    # A peak can only be where some turn may reach what every turn reaches elsewhere.
    reached = (relative.min(axis=0) * gears).max(axis=1, keepdims=True)
    near = relative.max(axis=0) * gears >= reached
    by_angle, peaks = np.ascontiguousarray(torque.T), np.empty((len(gears), len(torque)))
    for row, gear, here in zip(peaks, gears, near, strict=True):
        angles = np.flatnonzero(here)
        np.maximum.reduce(by_angle.take(angles, axis=0) * gear.take(angles)[:, None], axis=0, out=row)
    return peaks.T / (torque @ gears.T / torque.shape[1])


def _dead_centre_loss(
    torque: FloatArray, own: ComplexArray, turning: ComplexArray, turned: FloatArray
) -> FloatArray:
    missing = np.maximum(0.0, 1 - torque / torque.mean(axis=1, keepdims=True))
    weights = np.conj(_harmonics(missing))
    # Time at an angle is (1 − δ) of its share; the mean product of two turns is twice their harmonics'.
    slower = 2 * _real_product(weights * turning, turned)
    return missing.mean(axis=1)[:, None] + slower - 2 * (weights * own).real.sum(axis=1)[:, None]


def _speed_harmonics(
    ring: TurnedRing, torque: FloatArray, harmonics: ComplexArray, cadence: float
) -> tuple[ComplexArray, ComplexArray]:
    """Harmonics of the relative crank speed: those of the torque, and those that turn with the ring."""
    drivetrain = ring.drivetrain
    mean_gear = drivetrain.ring.teeth / drivetrain.sprocket_teeth
    mean_energy = drivetrain.wheel_inertia_kgm2 * (mean_gear * cadence * 2 * math.pi / 60) ** 2 / 2
    order = np.arange(1, harmonics.shape[1] + 1)
    # Speed gained per torque; nothing where the inertia, and with it the energy, is infinite.
    gained = 1 / (2 * mean_energy) / (1j * order)
    mean = torque.mean(axis=1, keepdims=True)
    return harmonics * gained, ring.harmonics * (1 + mean * gained)


def _turn(mounts: FloatArray, orders: int) -> FloatArray:
    """exp(ikm) by order and mount, laid out for `_real_product`: real parts and minus the imaginary ones in turn."""
    turned = np.exp(1j * np.arange(1, orders + 1)[:, None] * mounts[None, :])
    return np.stack([turned.real, -turned.imag], axis=1).reshape(2 * orders, mounts.size)


def _real_product(left: ComplexArray, turned: FloatArray) -> FloatArray:
    """Real part of a product with exp(ikm), at half the work of the whole."""
    return left.view(float) @ turned


def _harmonics(turns: FloatArray) -> ComplexArray:
    count = turns.shape[1]
    return np.fft.rfft(turns, axis=1)[:, 1 : min(HIGHEST_HARMONIC, (count - 1) // 2) + 1] / count
