"""The crank angle from two markers that a camera sees: one on the pedal's axis, one on the crank's."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import LONGEST_CRANK_M, SHORTEST_CRANK_M

FloatArray = NDArray[np.float64]
LARGEST_SPREAD = 0.1
"""Of the distance between the markers over the recording; more than a tenth is no crank's. Common practice, no source."""


@dataclass(frozen=True)
class MarkerAngle:
    """An angle in turns, not unwrapped, and what it rests on in words."""

    turns: FloatArray
    assumption: str


def angle_from_markers(
    pedal_forward_m: FloatArray,
    pedal_up_m: FloatArray,
    axis_forward_m: FloatArray,
    axis_up_m: FloatArray,
    file: str = "recording",
) -> MarkerAngle:
    """Return θ = atan2(forward, up) of the pedal's axis seen from the crank's, in turns of [0, 1).

    Parameters
    ----------
    pedal_forward_m, pedal_up_m, axis_forward_m, axis_up_m : array of shape (samples,)
        Coordinates in the plane of the crank, forward in the bike's direction of travel and upward.
    file : str
        For messages.

    Raises
    ------
    Refusal
        Markers whose distance is no crank's, or changes as no crank's does.

    Examples
    --------
    A pedal straight ahead of the axis stands a quarter of a turn after top dead centre:

    >>> angle_from_markers(np.array([0.17]), np.array([0.0]), np.array([0.0]), np.array([0.0])).turns
    array([0.25])
    """
    forward, up = pedal_forward_m - axis_forward_m, pedal_up_m - axis_up_m
    distance = np.hypot(forward, up)
    usual, spread = float(np.median(distance)), float(np.std(distance))
    if not SHORTEST_CRANK_M < usual < LONGEST_CRANK_M or spread > LARGEST_SPREAD * usual:
        raise Refusal(
            what=f"{file}, markers of pedal and crank axis",
            got=f"{1000 * usual:.4g} mm apart, with a standard deviation of {1000 * spread:.3g} mm",
            wanted=f"{1000 * SHORTEST_CRANK_M:g} to {1000 * LONGEST_CRANK_M:g} mm, nearly the same all the time",
            remedy="look at which markers and coordinates are mapped, and at their unit and sign",
            scope="trial",
        )
    said = (
        f"The crank angle is that of the pedal's marker about the axis' marker, {1000 * usual:.1f} mm apart (standard"
        f" deviation {1000 * spread:.1f} mm); upright on the recording is taken as upright on the road."
    )
    return MarkerAngle(np.mod(np.arctan2(forward, up) / (2 * math.pi), 1.0), said)
