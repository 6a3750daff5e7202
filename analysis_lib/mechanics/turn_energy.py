"""The energy of a turn: its level, from the time that the turn takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.mechanics.ring import FloatArray


def energy_for_duration(stored: FloatArray, weight: FloatArray, mean_speed: ArrayLike) -> NDArray[np.float64]:
    """Constant K₀ for which a turn lasts 2π / mean_speed.

    The turn lasts ∮ w/√(2(K₀ + stored)) dθ. Its inverse square is a power mean of the energies with exponent
    −1/2: concave and rising in K₀. So Newton's method from a point below the root climbs to it without
    overshoot, and a power mean being at most the arithmetic mean gives such a point.

    Parameters
    ----------
    stored : array of shape (..., angles)
        Energy in each turn but for its constant, per inertia.
    weight : array of shape (..., angles)
        w, so that the crank speed is √(2(K₀ + stored))/w.
    mean_speed : float or array of shape (...,)
        2π over the duration of the turn, rad/s.

    Returns
    -------
    array of shape (...,)

    Examples
    --------
    An even turn with w = 1: half the square of the speed.

    >>> float(energy_for_duration(np.zeros(8), np.ones(8), 10.0))
    50.0
    """
    share = weight / weight.shape[-1]
    wanted = np.asarray(mean_speed) ** 2 / 2
    total = share.sum(axis=-1)
    lowest = stored.min(axis=-1)
    above_floor = -lowest + 1e-9 * np.maximum(wanted, np.ptp(stored, axis=-1))
    constant = np.maximum(wanted * total**2 - np.vecdot(share, stored) / total, above_floor)
    for _ in range(200):
        energy = constant[..., None] + stored
        part = share / np.sqrt(energy)
        slowness = part.sum(axis=-1)
        part /= energy
        step = (wanted - slowness**-2) / (part.sum(axis=-1) * slowness**-3)
        constant = constant + step
        # The next step would be about step²/lowest energy: nothing, once a step is this small a share of that energy.
        if np.all(np.abs(step) <= np.maximum(3e-8 * (constant + lowest), 1e-15 * np.abs(constant))):
            break
    return constant
