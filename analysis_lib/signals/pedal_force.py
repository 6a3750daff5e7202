"""What part of the force on the pedal turns the crank."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle_bins import BIN_RAD, integrate_by_angle
from analysis_lib.signals.crank_forces import CrankForces, forces_on_crank
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns, first_whole_turn

__all__ = [
    "CrankForces",
    "forces_on_crank",
    "index_of_effectiveness",
    "mean_radial_profiles",
    "turn_effectiveness",
]

FloatArray = NDArray[np.float64]


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
        Columns ``turn`` and, by leg, ``effectiveness_left``, ``mean_resultant_left_N``,
        ``mean_radial_left_N`` and their like; the integrals run exactly over the turn.
    """
    columns: dict[str, NDArray] = {"turn": turns.number[turns.kept]}
    for leg, force in forces.items():
        parts = _by_turn(recording, turns, [force.tangential_N, force.resultant_N, force.radial_N])
        tangential, resultant, radial = (work.sum(axis=1) for work in parts)
        columns[f"effectiveness_{leg}"] = tangential / resultant
        turn_rad = parts[1].shape[1] * BIN_RAD
        columns[f"mean_resultant_{leg}_N"] = resultant / turn_rad
        columns[f"mean_radial_{leg}_N"] = radial / turn_rad
    return pd.DataFrame(columns)


def mean_radial_profiles(
    recording: Recording, turns: Turns, forces: dict[str, CrankForces]
) -> dict[str, NDArray[np.float64]]:
    """Return each leg's mean force along its crank in each degree of that crank, over kept turns.

    Parameters
    ----------
    recording, turns, forces
        As in `turn_effectiveness`.

    Returns
    -------
    dict of str to array of shape (360,)
        N, positive towards the crank axis, by leg; bin k runs from k to k + 1 degrees of the leg's own crank.
    """
    profiles = {}
    for leg, force in forces.items():
        mean = _by_turn(recording, turns, [force.radial_N])[0].mean(axis=0) / BIN_RAD
        profiles[leg] = np.roll(mean, mean.size // 2) if leg == "left" else mean
    return profiles


def _by_turn(
    recording: Recording, turns: Turns, channels: list[NDArray[np.float64]]
) -> list[NDArray[np.float64]]:
    """Integral over angle of each channel, one row a kept turn and one column a bin."""
    sums = integrate_by_angle(recording.time_s, recording.crank_rad, channels)
    rows = turns.number[turns.kept] - 1 + first_whole_turn(recording) - sums.first_turn
    return [work[rows] for work in sums.work_J]
