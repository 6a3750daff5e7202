"""Forces on the pedal, and what part of them turns the crank."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle_bins import BIN_RAD, integrate_by_angle
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns, first_whole_turn

FloatArray = NDArray[np.float64]


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
        if not 0.05 < crank_length_m < 0.30:
            raise Refusal(
                what="crank length",
                got=f"{crank_length_m} m",
                wanted="metres, between 0.05 and 0.30",
                remedy="divide millimetres by 1000",
            )
        return self.tangential_N * crank_length_m


def forces_on_crank(fore_aft_N: ArrayLike, vertical_N: ArrayLike, own_crank_rad: ArrayLike) -> CrankForces:
    """Turn pedal forces in the frame of the bike into forces on the crank.

    F_t = A·cos θ − V·sin θ and F_r = −(A·sin θ + V·cos θ), with A forward, V upward and θ the angle of the
    pedal's own crank from top dead centre.

    Parameters
    ----------
    fore_aft_N, vertical_N : array_like of shape (samples,)
        Force of the foot on the pedal, positive forward and positive upward: pressing down is negative.
    own_crank_rad : array_like of shape (samples,)
        Angle of the crank that carries the pedal. For the left pedal that is the right crank's angle − π.

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


def index_of_effectiveness(
    tangential_N: ArrayLike, resultant_N: ArrayLike, start_deg: float = 0.0, end_deg: float = 360.0
) -> float:
    """Return the index of effectiveness, ∫ F_t dθ / ∫ |F| dθ over the cycle or a part of it.

    It is the ratio of two integrals; the mean of the ratio at each angle is another number and not this index
    (LaFortune & Cavanagh; Bini, Hume, Croft & Kilding 2013, J Sci Cycling 2:11).

    Parameters
    ----------
    tangential_N, resultant_N : array_like of shape (angles,)
        At the angles 0, 360/N, ... of the own crank.
    start_deg, end_deg : float
        The part of the cycle; `start_deg` belongs to it and `end_deg` does not.

    Examples
    --------
    A force of 100 N that is half effective for half the cycle, and not at all for the rest:

    >>> index_of_effectiveness([50, 50, 0, 0], [100, 100, 100, 100])
    0.25
    """
    tangential, resultant = np.asarray(tangential_N, dtype=float), np.asarray(resultant_N, dtype=float)
    angle = 360 * np.arange(tangential.size) / tangential.size
    part = (angle >= start_deg) & (angle < end_deg)
    whole = float(resultant[part].sum())
    if tangential.shape != resultant.shape or not whole > 0:
        raise Refusal(
            what="index of effectiveness",
            got=f"{tangential.size} tangential and {resultant.size} resultant forces, the latter adding to {whole:g} N",
            wanted="both at the same angles, and some force",
            remedy="check the force channels",
        )
    return float(tangential[part].sum()) / whole


def turn_effectiveness(recording: Recording, turns: Turns, forces: dict[str, CrankForces]) -> pd.DataFrame:
    """Return the index of effectiveness of every kept turn.

    Parameters
    ----------
    recording : Recording
        Whose time and angle the forces share.
    turns : Turns
        Cut from that recording.
    forces : dict of str to CrankForces
        By leg, "left" or "right".

    Returns
    -------
    DataFrame
        Columns ``turn`` and, by leg, ``effectiveness_left``, ``mean_resultant_left_N`` and their like; the
        integrals run exactly over the turn.
    """
    columns: dict[str, NDArray] = {"turn": turns.number[turns.kept]}
    for leg, force in forces.items():
        sums = integrate_by_angle(
            recording.time_s, recording.crank_rad, [force.tangential_N, force.resultant_N]
        )
        rows = turns.number[turns.kept] - 1 + first_whole_turn(recording) - sums.first_turn
        tangential, resultant = (work[rows].sum(axis=1) for work in sums.work_J)
        columns[f"effectiveness_{leg}"] = tangential / resultant
        columns[f"mean_resultant_{leg}_N"] = resultant / (sums.work_J[1].shape[1] * BIN_RAD)
    return pd.DataFrame(columns)
