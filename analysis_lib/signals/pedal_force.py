"""What part of the force on the pedal turns the crank."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.signals.angle_bins import BIN_RAD, integrate_by_angle
from analysis_lib.signals.crank_forces import CrankForces
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns, first_whole_turn
from analysis_lib.signals.stroke import to_own_crank

FloatArray = NDArray[np.float64]


def turn_effectiveness(recording: Recording, turns: Turns, forces: dict[str, CrankForces]) -> pd.DataFrame:
    """Return the index of effectiveness of every kept turn, ∫ F_t dθ / ∫ |F| dθ.

    It is the ratio of two integrals; the mean of the ratio at each angle is another number and not this index
    (LaFortune & Cavanagh; Bini, Hume, Croft & Kilding 2013, J Sci Cycling 2:11).

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
        profiles[leg] = to_own_crank(mean, leg)
    return profiles


def _by_turn(
    recording: Recording, turns: Turns, channels: list[NDArray[np.float64]]
) -> list[NDArray[np.float64]]:
    """Integral over angle of each channel, one row a kept turn and one column a bin."""
    sums = integrate_by_angle(recording.time_s, recording.crank_rad, channels)
    rows = turns.number[turns.kept] - 1 + first_whole_turn(recording) - sums.first_turn
    return [work[rows] for work in sums.work_J]
