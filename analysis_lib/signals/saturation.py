"""Saturation: the samples at which a channel could tell nothing more."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# A channel without a ceiling reaches its largest value once, or a few times where it is stored coarsely: in steps
# of 1/32 N m a peak of 40 N m holds its largest value for about 1 % of a turn (worked from its curvature), and the
# next lower value for nearly as long (√1.5 − √0.5 against √0.5). A ceiling holds the one value alone.
FLAT_TOP_SHARE = 0.03
TIMES_THE_NEXT_VALUE = 5


def saturated_samples(torque_Nm: NDArray[np.float64], full_scale_Nm: float | None) -> NDArray[np.intp]:
    """Return the indices of the samples at or beyond full scale, or on a flat top.

    A flat top is a largest value that stands in more than 3 % of the samples and five times as often as the
    next lower one: a ceiling that nobody declared. The smallest value is not judged that way, for some recorders clip
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
    if flat.size <= FLAT_TOP_SHARE * torque_Nm.size or flat.size == torque_Nm.size:
        return flat[:0]
    next_lower = torque_Nm[torque_Nm < top].max()
    is_ceiling = flat.size > TIMES_THE_NEXT_VALUE * np.count_nonzero(torque_Nm == next_lower)
    return flat if is_ceiling else flat[:0]
