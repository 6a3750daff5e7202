"""The zero checks that belong to a trial: the nearest before it and the nearest after it, on its recorder."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd

from analysis_lib.signals.zero_torque import ZeroCheck
from analysis_lib.study.settings import StudySettings


@dataclass(frozen=True)
class NearChecks:
    """The zero checks around one trial; None where there is none near enough."""

    before: ZeroCheck | None
    after: ZeroCheck | None


def checks_around(
    settings: StudySettings, zero_checks: pd.DataFrame, recorder: str, started_at: datetime, start_s: float
) -> NearChecks:
    """Find the zero checks around a trial.

    Parameters
    ----------
    settings : StudySettings
        Its rule `zero_check_max_hours` says how far a check may be from the start of the trial.
    zero_checks : DataFrame
        All checks of the study.
    recorder : str
        The trial's recorder. A check that lacks one of this recorder's channels does not count.
    started_at : datetime
        When the trial starts, on the lab's clock.
    start_s : float
        When the trial starts, in the recording's own time; the checks are given in that time.

    Returns
    -------
    NearChecks
    """
    channels = settings.recorders[recorder].recorder_settings().channels
    # Where both legs are recorded beside their total, the legs are what is analysed.
    needed = [channel for channel in channels if channel != "total" or len(channels) == 1]
    columns = {channel: f"zero_{channel}_Nm" for channel in needed}
    own = zero_checks[zero_checks["recorder"] == recorder].dropna(subset=list(columns.values()))
    away_s = (own["checked_at"] - pd.Timestamp(started_at)).dt.total_seconds()
    near = own.assign(away_s=away_s)[away_s.abs() <= settings.rules.zero_check_max_hours * 3600]
    before = near[near["away_s"] <= 0].nlargest(1, "away_s")
    after = near[near["away_s"] > 0].nsmallest(1, "away_s")
    return NearChecks(_as_check(before, columns, start_s), _as_check(after, columns, start_s))


def _as_check(nearest: pd.DataFrame, columns: dict[str, str], start_s: float) -> ZeroCheck | None:
    if nearest.empty:
        return None
    row: Any = nearest.iloc[0]
    temperature = None if pd.isna(row["temperature_C"]) else float(row["temperature_C"])
    torque = {channel: float(row[column]) for channel, column in columns.items()}
    return ZeroCheck(start_s + float(row["away_s"]), temperature, torque)
