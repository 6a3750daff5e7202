"""The energy of a turn: its level, from the time that the turn takes."""

from __future__ import annotations

import numpy as np

from analysis_lib.mechanics.ring import FloatArray


def energy_for_duration(stored: FloatArray, weight: FloatArray, mean_speed: float) -> float:
    """Constant K₀ for which a turn lasts 2π / mean_speed.

    The turn lasts ∮ w/√(2(K₀ + stored)) dθ. Its inverse square is a power mean of the energies with exponent
    −1/2: concave and rising in K₀. So Newton's method from a point below the root climbs to it without
    overshoot, and a power mean being at most the arithmetic mean gives such a point.

    Parameters
    ----------
    stored : array of shape (angles,)
        Energy in a turn but for its constant, per inertia.
    weight : array of shape (angles,)
        w, so that the crank speed is √(2(K₀ + stored))/w.
    mean_speed : float
        2π over the duration of the turn, rad/s.

    Examples
    --------
    An even turn with w = 1: half the square of the speed.

    >>> energy_for_duration(np.zeros(8), np.ones(8), 10.0)
    50.0
    """
    share = weight / weight.size
    wanted = mean_speed**2 / 2
    total = share.sum()
    floor = -stored.min()
    above_floor = floor + 1e-9 * max(wanted, np.ptp(stored))
    constant = max(wanted * total**2 - float(share @ stored) / total, above_floor)
    for _ in range(200):
        energy = constant + stored
        slowness = float(np.sum(share / np.sqrt(energy)))
        value = slowness**-2
        step = (wanted - value) / (float(np.sum(share * energy**-1.5)) * slowness**-3)
        constant += step
        if abs(step) <= 1e-15 * abs(constant):
            break
    return float(constant)
