"""Trials in which the crank's speed is that of their oval ring at another mount than trials.csv says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.mechanics.periodic import axial_change_deg, axial_phase_deg
from analysis_lib.mechanics.speed_agreement import compare_speeds
from analysis_lib.refusals import Refusal
from analysis_lib.reports.trials.other_ring import of_another_ring, predict_speed, shows_speed, swing_of
from analysis_lib.reports.trials.rider_trials import under_caution
from analysis_lib.reports.trials.speed_verdict import (
    AGREES,
    LEAST_SWING,
    PHASE_BAND_DEG,
    is_turned,
    speed_verdict,
)
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.declared.settings import StudySettings

TURNED_BY = "turned_by_deg"
"""Column of a rider's trials: how far the ring has to be turned from its stated mount; NaN where it need not be."""

STEPS = 4
"""Of the search for the mount: each takes away all but the part of the speed that is not in proportion to ovality."""


def doubt_mounts(
    settings: StudySettings, trials: pd.DataFrame, results: Mapping[str, TrialResult]
) -> pd.DataFrame:
    """Return one rider's trials with `TURNED_BY`, those under caution whose ring or crank angle looks turned.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        With ``trial, ring_name, mount_deg, recorder, state, reason``. One that turns as on another ring is judged no more.
    results : dict of trial to TrialResult
        Trials without a result stay as they are.
    """
    others = of_another_ring(trials)
    turned = [
        turned_by_deg(settings, row, results[str(row.trial)])
        if row.trial in results and not is_other
        else np.nan
        for row, is_other in zip(trials.itertuples(), others, strict=True)
    ]
    trials = trials.assign(**{TURNED_BY: np.array(turned, dtype=float)})
    return under_caution(trials, map(caution_of, trials.itertuples()))


def caution_of(row) -> str:
    """Say of one trial, a row with ``mount_deg`` and `TURNED_BY`, at which mount its ring looks; "" where it is not turned.

    >>> from types import SimpleNamespace
    >>> caution_of(SimpleNamespace(mount_deg=70.0, turned_by_deg=-40.2))
    "The crank's speed is that of the ring mounted at 30°, not 70°: look at mount_deg and at the zero of the crank angle."
    """
    turned = getattr(row, TURNED_BY)
    if turned != turned:
        return ""
    looks = round(row.mount_deg + turned) % 180
    return (
        f"The crank's speed is that of the ring mounted at {looks}°, not {row.mount_deg:g}°: look at mount_deg and at"
        " the zero of the crank angle."
    )


def turned_by_deg(settings: StudySettings, row, result: TrialResult) -> float:
    """Return how far a trial's oval ring must be turned for its predicted crank speed to be the measured one.

    NaN unless the prediction at the stated mount is turned, and agrees when the ring is turned by more than what counts as
    agreement: a wrong inertia moves the phase too, but no mount then makes the prediction agree.

    Parameters
    ----------
    settings : StudySettings
    row : named tuple
        Of the trial, with ``ring_name, mount_deg, recorder``.
    result : TrialResult
    """
    is_oval = settings.rings[row.ring_name].axis_ratio != 1
    if not is_oval or row.mount_deg != row.mount_deg or not shows_speed(settings.recorders[row.recorder]):
        return np.nan
    measured = result.speed_at_angles()
    swing = swing_of(measured)
    if swing < LEAST_SWING:
        return np.nan
    predict = partial(_predict_turned, settings, row, result)
    try:
        if not is_turned(compare_speeds(predict(0.0), measured)):
            return np.nan
        turned = fit_turn_deg(predict, measured)
        found = compare_speeds(predict(turned), measured)
    except Refusal:
        return np.nan
    fits = abs(turned) > PHASE_BAND_DEG and speed_verdict(found, swing) == AGREES
    return turned if fits else np.nan


def _predict_turned(
    settings: StudySettings, row, result: TrialResult, turned_deg: float
) -> NDArray[np.float64]:
    return predict_speed(settings, result, row.ring_name, (row.mount_deg + turned_deg) % 180.0)


def fit_turn_deg(predict: Callable[[float], NDArray[np.float64]], measured: NDArray[np.float64]) -> float:
    """Return by how much a ring has to be turned for its part of the crank speed to lie where the measured one lies.

    Half the sum of two predictions a quarter turn of the ring apart is what torque does by itself; the rest is the ring's.

    Parameters
    ----------
    predict : callable
        Crank speed through the turn by the degrees that the ring is turned.
    measured : array

    Returns
    -------
    float
        In [-90, 90).
    """
    shape, turned = measured / measured.mean(), 0.0
    for _ in range(STEPS):
        here, across = (speed / speed.mean() for speed in (predict(turned), predict(turned + 90.0)))
        of_torque = (here + across) / 2
        turned += axial_phase_deg(here - of_torque) - axial_phase_deg(shape - of_torque)
        turned = axial_change_deg(turned)
    return turned
