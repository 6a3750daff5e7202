"""The zero checks that belong to a trial: the nearest before it and the nearest after it, on its recorder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.signals.recorder import RecorderSettings
from analysis_lib.signals.zero_force import DIRECTIONS, force_channel
from analysis_lib.signals.zero_torque import ZeroCheck
from analysis_lib.study.declared.settings import StudySettings

NONE = -1
"""In place of a row where there is none."""

LONGEST_REACH_HOURS = 1e6
"""A century, which is as good as for ever, and still a number of microseconds."""


@dataclass(frozen=True)
class NearChecks:
    """The zero checks around one trial, one at most on either side; none where none is near enough."""

    before: list[ZeroCheck]
    after: list[ZeroCheck]


def checks_around(
    settings: StudySettings, zero_checks: pd.DataFrame, trial: Any, start_s: float = 0.0
) -> NearChecks:
    """Find the zero checks around a trial.

    Parameters
    ----------
    settings : StudySettings
        Its rule `zero_check_max_hours` says how far a check may be from the start of the trial.
    zero_checks : DataFrame
        All checks of the study.
    trial : row of trials.csv
        With its recorder and the time at which it started. A check that lacks one of this recorder's channels
        does not count. Without a starting time no check can be placed.
    start_s : float
        When the trial starts, in the recording's own time; the checks are given in that time.

    Returns
    -------
    NearChecks
    """
    if pd.isna(trial.started_at):
        return NearChecks([], [])
    columns, is_usable = _usable(settings, zero_checks, trial.recorder)
    started = np.array([trial.started_at.to_datetime64()])
    before, after = (
        [_as_check(zero_checks.iloc[place], columns, trial, start_s) for place in places if place != NONE]
        for places in _nearest(settings, zero_checks, is_usable, started)
    )
    return NearChecks(before, after)


def places_around(
    settings: StudySettings, zero_checks: pd.DataFrame, trials: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray]:
    """Find for many trials at once, whose recorders are known, where the checks of `checks_around` stand.

    Returns
    -------
    tuple of two arrays of int, (trials,)
        Rows of `zero_checks`, counted from 0, of the check before and of the check after each trial; `NONE` for none.
    """
    before, after = np.full(len(trials), NONE), np.full(len(trials), NONE)
    for recorder in trials["recorder"].unique():
        own = ((trials["recorder"] == recorder) & trials["started_at"].notna()).to_numpy(dtype=bool)
        _, is_usable = _usable(settings, zero_checks, recorder)
        started = trials.loc[own, "started_at"].to_numpy()
        before[own], after[own] = _nearest(settings, zero_checks, is_usable, started)
    return before, after


def zero_columns(settings: StudySettings, zero_checks: pd.DataFrame, recorder: str) -> dict[str, str]:
    """Return the columns of a recorder's zeros by channel: of torque, or of the forces that make a leg's torque."""
    return _usable(settings, zero_checks, recorder)[0]


def all_checks(
    settings: StudySettings, zero_checks: pd.DataFrame, trial: Any, start_s: float = 0.0
) -> list[ZeroCheck]:
    """Return every whole check of the trial's recorder, timed as in `checks_around`, however far away."""
    if pd.isna(trial.started_at):
        return []
    columns, is_usable = _usable(settings, zero_checks, trial.recorder)
    return [
        _as_check(zero_checks.iloc[place], columns, trial, start_s) for place in np.flatnonzero(is_usable)
    ]


def _usable(
    settings: StudySettings, zero_checks: pd.DataFrame, recorder: str
) -> tuple[dict[str, str], np.ndarray]:
    """Return the recorder's channels with their columns, and which checks are its own and have all of them.

    A leg whose forces are recorded has the zero of these forces where any of its checks gives one, else of its torque.
    """
    described = settings.recorders[recorder].recorder_settings()
    channels = described.channels
    is_own = (zero_checks["recorder"] == recorder).to_numpy(dtype=bool)
    columns: dict[str, str] = {}
    for channel in channels:
        forces = _force_columns(described, channel)
        if (
            forces
            and zero_checks.loc[is_own, zero_checks.columns.intersection(list(forces.values()))]
            .notna()
            .to_numpy()
            .any()
        ):
            columns |= forces
        # Where both legs are recorded beside their total, the legs are what is analysed.
        elif channel != "total" or len(channels) == 1:
            columns[channel] = f"zero_{channel}_Nm"
    is_whole = zero_checks.reindex(columns=list(columns.values())).notna().to_numpy().all(axis=1)
    return columns, is_own & is_whole


def _force_columns(recorder: RecorderSettings, leg: str) -> dict[str, str]:
    """Return the force channels of a leg, by the names of `zero_force`, with their columns of zero_checks.csv."""
    return {
        force_channel(way, leg): f"zero_force_{way}_{leg}_N"
        for way in DIRECTIONS
        if f"force_{way}_{leg}_N" in recorder.columns
    }


def _nearest(
    settings: StudySettings, zero_checks: pd.DataFrame, is_usable: np.ndarray, started: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the usable checks nearest before, or at, and after each starting time, `NONE` where none is near enough."""
    places = np.flatnonzero(is_usable & zero_checks["checked_at"].notna().to_numpy(dtype=bool))
    if not places.size:
        return np.full(len(started), NONE), np.full(len(started), NONE)
    order = np.argsort(zero_checks["checked_at"].to_numpy()[places], kind="stable")
    places = places[order]
    checked = zero_checks["checked_at"].to_numpy()[places]
    hours = min(settings.rules.zero_check_max_hours, LONGEST_REACH_HOURS)
    reach = np.timedelta64(round(hours * 3.6e9), "us")
    later = np.searchsorted(checked, started, side="right")
    following = np.minimum(later, len(checked) - 1)
    earlier = np.searchsorted(checked, checked[later - 1])  # the first in the table of several at one time
    is_before = (later > 0) & (started - checked[earlier] <= reach)
    is_after = (later < len(checked)) & (checked[following] - started <= reach)
    return np.where(is_before, places[earlier], NONE), np.where(is_after, places[following], NONE)


def _as_check(row: pd.Series, columns: dict[str, str], trial: Any, start_s: float) -> ZeroCheck:
    return ZeroCheck(
        at_s=start_s + (row["checked_at"] - trial.started_at).total_seconds(),
        temperature_C=None if pd.isna(row["temperature_C"]) else float(row["temperature_C"]),
        torque={channel: float(row[column]) for channel, column in columns.items()},
    )
