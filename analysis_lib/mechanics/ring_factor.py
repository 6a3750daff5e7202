"""The ring factor: how oval a ring is by the crank speed that it makes, over how oval it is said to be.

Against a constant resistance R, crank torque T and a ring of gear G give a crank speed ω = √(2·(K₀ + W))/(√I·G), with W
the integral of T − G·R over the crank angle (`Drivetrain.steady_speed`). Its logarithm is a sum, and so are the two waves
a turn of that, complex numbers each: of the ring, −(ln G)₂; and, to first order, of the energy stored, W₂/(I·Ḡ²·ω̄²), in
which the torque and the resistance at the ring's uneven gear each have a part. A ring that is s times as oval and an
inertia 1/q of the stated one make

    measured = s·ring + q·(torque + s·resistance).

On a round ring only the torque's wave is left, which gives q. With that the oval ring's s follows without any further
assumption: as a ratio of lengths, so that a wrong mount, which turns the ring's wave, does not change it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import FloatArray

EVEN = 1e-9
"""Length of a wave below which nothing moves the crank twice a turn: an infinite inertia, or a round ring."""


@dataclass(frozen=True)
class SpeedWaves:
    """The two waves a turn of the logarithm of one trial's crank speed: measured, and by the stated ring and inertia."""

    measured: complex
    ring: complex
    torque: complex
    resistance: complex


def speed_waves(
    drivetrain: Drivetrain, torque_Nm: FloatArray, speed_rad_s: FloatArray, steps_a_turn: float = math.inf
) -> SpeedWaves:
    """Take a trial's mean turn apart.

    An angle that is known at n instants of a turn, and taken to grow evenly between them, shows the share sinc²(2/n) of two
    waves, (sin(2π/n)/(2π/n))²: for 8 pulses 0.81. The measured wave is divided by that.

    Parameters
    ----------
    drivetrain : Drivetrain
        As stated.
    torque_Nm, speed_rad_s : array of shape (angles,)
        Of both legs, and of the crank, at equally spaced crank angles from top dead centre.
    steps_a_turn : float
        Samples or pulses a turn, whichever are fewer; more than 2.
    """
    gear = drivetrain.turn_gear(torque_Nm.size)
    mean_speed = 1 / np.mean(1 / speed_rad_s)
    stored_J = drivetrain.wheel_inertia_kgm2 * gear.mean() ** 2 * mean_speed**2
    resistance_Nm = torque_Nm.mean() / gear.mean()
    return SpeedWaves(
        measured=_second(np.log(speed_rad_s)) / np.sinc(2 / steps_a_turn) ** 2,
        ring=-_second(np.log(gear)),
        torque=_second(torque_Nm) / 2j / stored_J,
        resistance=-resistance_Nm * _second(gear) / 2j / stored_J,
    )


def _second(turn: FloatArray) -> complex:
    return complex(2 * np.fft.rfft(turn)[2] / turn.size)


def inertia_share(on_round: Sequence[SpeedWaves]) -> float:
    """Return q, the stated inertia over the one that trials on a round ring show, by least squares; NaN where none tells.

    >>> wave = SpeedWaves(0.02 + 0.001j, 0j, 0.01 + 0j, 0j)
    >>> inertia_share([wave, wave])
    2.0
    """
    sizes = [abs(wave.torque) for wave in on_round]
    told = sum(size * size for size in sizes)  # infinite where size**2 would raise
    if not EVEN**2 <= told < math.inf:
        return float("nan")
    return sum((wave.measured * wave.torque.conjugate()).real for wave in on_round) / told


def ring_factor(wave: SpeedWaves, share: float) -> float:
    """Return s, how oval a ring is over what is stated, of one trial and q; NaN for a round ring.

    >>> ring_factor(SpeedWaves(0.03 + 0.02j, 0.06 + 0j, 0.02j, 0j), 1.0)
    0.5
    """
    expected = abs(wave.ring + share * wave.resistance)
    return float(abs(wave.measured - share * wave.torque)) / expected if expected > EVEN else float("nan")
