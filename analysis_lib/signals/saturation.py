"""Saturation: the samples at which a channel could tell nothing more."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# A channel without a ceiling reaches its largest value once, or a few times where it is stored coarsely:
# in steps of 1/32 N m, a peak of 40 N m holds one value for about 1 % of a turn (worked from its curvature).
FLAT_TOP_SHARE = 0.03


def saturated_samples(torque_Nm: NDArray[np.float64], full_scale_Nm: float | None) -> NDArray[np.intp]:
    """Return the indices of the samples at or beyond full scale, or on a flat top.

    A flat top is a largest value that stands in more than 3 % of the samples while the channel moves below
    it: a ceiling that nobody declared. The smallest value is not judged that way, for some recorders clip
    negative torque on purpose.

    Parameters
    ----------
    torque_Nm : array of shape (samples,)
        As measured, before the zero torque is taken off.
    full_scale_Nm : float, optional
        Declared full scale.

    Returns
    -------
    array of int

    Examples
    --------
    >>> saturated_samples(np.array([1.0, -9.0, 3.0, 8.5]), 8.0)
    array([1, 3])
    """
    if full_scale_Nm is not None:
        beyond = np.flatnonzero(np.abs(torque_Nm) >= full_scale_Nm)
        if beyond.size:
            return beyond
    top = torque_Nm.max()
    flat = np.flatnonzero(torque_Nm == top)
    is_ceiling = flat.size > FLAT_TOP_SHARE * torque_Nm.size and torque_Nm.min() < top
    return flat if is_ceiling else flat[:0]
