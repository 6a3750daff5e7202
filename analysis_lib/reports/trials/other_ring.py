"""Trials in which the crank turned as on another ring than trials.csv says."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.mechanics.speed_agreement import SMALLEST_SWING
from analysis_lib.refusals import Refusal
from analysis_lib.reports.trials.rider_trials import NOT_USED, under_caution
from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import FEWEST_TO_GROUP, first_few
from analysis_lib.study.declared.recorder_map import RecorderMap
from analysis_lib.study.declared.settings import StudySettings

OTHER_RING = "turns as on the other ring: look for rings exchanged in trials.csv or sequences in riders.csv"
CAUTION_OF_RING = f"The crank {OTHER_RING}."
EXCHANGED = (
    "turns as on the other ring: the rings look exchanged throughout, in trials.csv (the sequences of riders.csv with them)"
    " or in [rings] of study.toml"
)
THROUGHOUT = 0.9
"""Share of a study's trials from which its rings look exchanged altogether, rather than trial by trial."""

FAR_OFF, NEAR, LEAST_TOLD = 3.0, 2.0, 0.005
"""How many times a swing differs to be another ring's, or the same; what is added to both, since small swings are noise."""

FEWEST_PULSES = 8
"""Pulses a turn from which two waves of speed a turn can be seen; fewer, or a log of messages, show an even speed."""

RULE = (
    f"Turns as on the other ring: swing over {FAR_OFF:g} times off the declared ring's and within {NEAR:g} times the"
    f" other's ({100 * LEAST_TOLD:g} % added to each)"
)


def doubt_rings(
    settings: StudySettings, trials: pd.DataFrame, results: Mapping[str, TrialResult]
) -> pd.DataFrame:
    """Return one rider's trials, those under caution whose speed swings as another of the study's rings makes it.

    Parameters
    ----------
    settings : StudySettings
        Of the rings to compare.
    trials : DataFrame
        With ``trial, ring_name, mount_deg, recorder, state, reason``.
    results : dict of trial to TrialResult
        Trials without a result stay as they are.
    """
    ridden = trials.dropna(subset=["mount_deg"]).drop_duplicates("ring_name")
    mounts = dict(zip(ridden["ring_name"].astype(str), ridden["mount_deg"].astype(float), strict=True))
    return under_caution(
        trials,
        [
            CAUTION_OF_RING
            if row.trial in results and _is_of_another(settings, row, results[str(row.trial)], mounts)
            else ""
            for row in trials.itertuples()
        ],
    )


def of_another_ring(trials: pd.DataFrame) -> pd.Series:
    """Say of each row of a table with ``reason`` whether it carries the caution of another ring."""
    return trials["reason"].fillna("").str.contains(CAUTION_OF_RING, regex=False)


def is_throughout(trials: pd.DataFrame) -> bool:
    """Say of all used trials of a study, with ``state, reason``, whether nearly every one turns as on another ring."""
    doubtful = of_another_ring(trials[trials["state"] != NOT_USED])
    return len(doubtful) >= FEWEST_TO_GROUP and bool(doubtful.mean() >= THROUGHOUT)


def ring_doubts(trials: pd.DataFrame) -> str:
    """Say in how many of a study's used trials the crank turned as on another ring, and whose; "" where in none.

    Parameters
    ----------
    trials : DataFrame
        All trials of the study, with ``rider, state, reason``.
    """
    used = trials[trials["state"] != NOT_USED]
    doubtful = of_another_ring(used)
    if not doubtful.any():
        return ""
    counted = f"in {int(doubtful.sum())} of {show_count(len(used), 'trial')} the crank"
    if is_throughout(trials):
        return f"{counted} {EXCHANGED}"
    by_rider = doubtful.groupby(used["rider"], sort=False).agg(["sum", "size"])
    whose = [f"{rider} in {some} of {all_}" for rider, some, all_ in by_rider.itertuples() if some]
    shown = first_few(whose)
    return f"{counted} {OTHER_RING}; {show_count(len(whose), 'rider')}: {shown}"


def first_ring_doubts(trials: pd.DataFrame) -> list[str]:
    """Say before anything else whose crank turned as on the other ring: then the labels of rings are in doubt."""
    doubts = ring_doubts(trials)
    if not doubts:
        return []
    return [
        f"Not to be relied on as it stands: {doubts}. These trials count in what follows under the ring that the tables"
        " name, and where that is wrong, with the wrong sign."
    ]


def _is_of_another(settings: StudySettings, row, result: TrialResult, mounts: dict[str, float]) -> bool:
    if not shows_speed(settings.recorders[row.recorder]):
        return False
    measured = swing_of(result.speed_at_angles())
    if measured < SMALLEST_SWING:
        return False
    declared = _swing_on(settings, row.ring_name, row, result, mounts)
    if not _times_apart(measured, declared) > FAR_OFF:
        return False  # as nearly always; the other rings need not be predicted
    others = [name for name in settings.rings if name != row.ring_name]
    return any(
        is_of_other_ring(measured, declared, _swing_on(settings, name, row, result, mounts))
        for name in others
    )


def shows_speed(recorder: RecorderMap) -> bool:
    """Whether a recorder tells how speed varies within the turn."""
    few = recorder.angle == "pulses" and (recorder.pulses_per_turn or 0) < FEWEST_PULSES
    return recorder.kind != "notifications" and recorder.angle != "index" and not few


def _swing_on(
    settings: StudySettings, ring: str, row, result: TrialResult, mounts: dict[str, float]
) -> float:
    """Predict the swing of a trial's stroke on a ring; NaN, which is near and far from nothing, where it cannot be had.

    A ring that was not ridden is taken at the first of its mounts, which changes its swing by little.
    """
    described = settings.rings[ring]
    own = row.mount_deg if ring == row.ring_name else mounts.get(ring, row.mount_deg)
    mount = own if own == own else next(iter(described.ridden_mounts_deg), None)
    try:
        return swing_of(predict_speed(settings, result, ring, None if described.axis_ratio == 1 else mount))
    except Refusal:
        return float("nan")


def predict_speed(
    settings: StudySettings, result: TrialResult, ring: str, mount_deg: float | None
) -> NDArray[np.float64]:
    """Predict the crank speed of a trial's stroke, as if on this ring, rad/s at the angles of its torque."""
    drivetrain = settings.drivetrain_for(ring, mount_deg)
    return drivetrain.steady_speed(result.torque_at_angles(), result.value("cadence_rpm"))


def swing_of(speed: NDArray[np.float64]) -> float:
    """Peak-to-peak over mean of a speed through the turn.

    >>> swing_of(np.array([9.0, 10.0, 11.0]))
    0.2
    """
    return float(np.ptp(speed) / speed.mean())


def is_of_other_ring(measured: float, declared: float, other: float) -> bool:
    """Whether a swing of speed is far from that of the declared ring and near that of the other; all as peak-to-peak/mean.

    Examples
    --------
    Declared oval, 12 % expected, 0.9 % measured where a round ring gives 1 %; then an oval ring with much inertia:

    >>> is_of_other_ring(0.009, 0.12, 0.01), is_of_other_ring(0.05, 0.12, 0.01)
    (True, False)
    """
    return _times_apart(measured, declared) > FAR_OFF and _times_apart(measured, other) < NEAR


def _times_apart(one: float, two: float) -> float:
    apart = (one + LEAST_TOLD) / (two + LEAST_TOLD)
    return max(apart, 1 / apart)
