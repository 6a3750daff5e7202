"""Force on a pedal, seen from the bike and seen from the crank."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal

FloatArray = NDArray[np.float64]
SHORTEST_CRANK_M, LONGEST_CRANK_M = 0.05, 0.30


@dataclass(frozen=True)
class CrankForces:
    """Force on one pedal, seen from its crank.

    Attributes
    ----------
    tangential_N : array of shape (samples,)
        Across the crank arm, positive in the pedalling direction.
    radial_N : array of shape (samples,)
        Along the crank arm, positive towards the crank axis; it turns nothing and loads the rider all the same.
    """

    tangential_N: FloatArray
    radial_N: FloatArray

    @property
    def resultant_N(self) -> FloatArray:
        """Size of the force in the plane of the crank, N."""
        return np.hypot(self.tangential_N, self.radial_N)

    def torque_Nm(self, crank_length_m: float) -> FloatArray:
        """Return the crank torque, tangential force × crank length."""
        if not SHORTEST_CRANK_M < crank_length_m < LONGEST_CRANK_M:
            raise Refusal(
                what="crank length",
                got=f"{crank_length_m} m",
                wanted=f"metres, between {SHORTEST_CRANK_M:g} and {LONGEST_CRANK_M:g}",
                remedy="divide millimetres by 1000",
            )
        return self.tangential_N * crank_length_m


def own_crank_rad(right_crank_rad: FloatArray, leg: str) -> FloatArray:
    """Return the angle of a leg's own crank: the left one is half a turn behind the right one."""
    return right_crank_rad - math.pi if leg == "left" else right_crank_rad


def forces_on_crank(fore_aft_N: ArrayLike, vertical_N: ArrayLike, own_crank_rad: ArrayLike) -> CrankForces:
    """Turn pedal forces in the frame of the bike into forces on the crank.

    F_t = A·cos θ − V·sin θ and F_r = −(A·sin θ + V·cos θ), with A forward, V upward and θ the angle of the
    pedal's own crank from top dead centre.

    Parameters
    ----------
    fore_aft_N, vertical_N : array_like of shape (samples,)
        Force of the foot on the pedal, positive forward and positive upward: pressing down is negative.
    own_crank_rad : array_like of shape (samples,)
        Angle of the crank that carries the pedal. See `own_crank_rad`.

    Examples
    --------
    100 N straight down on a level forward crank are all tangential; at bottom dead centre they are all radial,
    away from the axis.

    >>> forces = forces_on_crank([0, 0], [-100, -100], [np.pi / 2, np.pi])
    >>> print(forces.tangential_N.round(9), forces.radial_N.round(9))
    [100.   0.] [   0. -100.]
    """
    forward, up = np.asarray(fore_aft_N, dtype=float), np.asarray(vertical_N, dtype=float)
    crank = np.asarray(own_crank_rad, dtype=float)
    cosine, sine = np.cos(crank), np.sin(crank)
    return CrankForces(forward * cosine - up * sine, -(forward * sine + up * cosine))
