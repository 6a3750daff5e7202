"""Static calibrations of a study folder: read, fitted, and found for a trial."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.signals.calibration import (
    StaticCalibration,
    calibrate_statically,
    hung_mass_torque,
)
from analysis_lib.signals.units import STANDARD_GRAVITY
from analysis_lib.study.declared.problems import Problem, listed, suggest
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import about_study
from analysis_lib.study.tables.rows import CALIBRATIONS
from analysis_lib.study.tables.tables import read_table


@dataclass(frozen=True)
class RecorderCalibration:
    """All channels of a recorder that were calibrated at one time, and at which temperature, where that is known."""

    recorder: str
    calibrated_at: pd.Timestamp
    channels: dict[str, StaticCalibration]
    temperature_C: float | None = None

    @property
    def slope_uncertainty_pct(self) -> float:
        """Largest standard error of a channel's slope, percent of the slope."""
        return max(100 * part.slope.se / abs(part.slope.value) for part in self.channels.values())


def read_calibrations(
    root: Path, settings: StudySettings
) -> tuple[pd.DataFrame, list[RecorderCalibration], list[Problem]]:
    """Read calibrations.csv, where the folder has one, and fit each recorder's calibrations.

    Returns
    -------
    tuple of DataFrame, list of RecorderCalibration and list of Problem
        The rows, the calibrations in order of time, and what is wrong.

    Raises
    ------
    Refusals
        When the table as a whole cannot be used.
    """
    if not (root / CALIBRATIONS.file).is_file():
        return pd.DataFrame(columns=CALIBRATIONS.columns), [], []
    table = read_table(root, CALIBRATIONS)
    problems, fitted = list(table.problems), []
    for (recorder, moment), rows in table.frame.groupby(["recorder", "calibrated_at"], sort=True):
        place = f"{CALIBRATIONS.file}, row {rows['row'].iloc[0]}"
        try:
            fitted.append(_fit(str(recorder), pd.Timestamp(str(moment)), rows, settings))
        except Refusal as refusal:
            problem = about_study(f"{place}, {refusal.what}", refusal.got, refusal.wanted, refusal.remedy)
            problems.append(replace(problem, recorder=str(recorder)))
    return table.frame, sorted(fitted, key=lambda part: part.calibrated_at), problems


def _fit(
    recorder: str, moment: pd.Timestamp, rows: pd.DataFrame, settings: StudySettings
) -> RecorderCalibration:
    known = settings.recorders.get(recorder)
    if known is None:
        remedy = suggest(recorder, settings.recorders, "use a recorder of study.toml")
        raise Refusal("column recorder", repr(recorder), f"one of {listed(settings.recorders)}", remedy)
    channels = known.recorder_settings().channels
    spare = sorted(set(rows["channel"]) - set(channels))
    if spare:
        raise Refusal(
            "column channel", listed(spare), f"a channel of {recorder}: {listed(channels)}", "correct it"
        )
    gravity = known.gravity_m_s2 or STANDARD_GRAVITY
    fits = {}
    for channel, loads in rows.groupby("channel", sort=True):
        per_metre = hung_mass_torque(loads["mass_kg"], 1.0, loads["crank_deg"], gravity)
        fits[str(channel)] = calibrate_statically(per_metre * loads["arm_mm"] / 1000, loads["reading_Nm"])
    warmth = rows["temperature_C"].dropna() if "temperature_C" in rows else pd.Series(dtype=float)
    return RecorderCalibration(recorder, moment, fits, None if warmth.empty else float(warmth.mean()))


def calibration_for(
    calibrations: list[RecorderCalibration], recorder: str, started_at: pd.Timestamp
) -> tuple[RecorderCalibration | None, str]:
    """Find the calibration of a trial: the last before it, else the first after it, which is said.

    Raises
    ------
    Refusal
        Several calibrations of the recorder and no time at which the trial started.
    """
    own = [part for part in calibrations if part.recorder == recorder]
    if not own:
        return None, ""
    if pd.isna(started_at) and len(own) > 1:
        raise Refusal(
            f"calibration of recorder {recorder}",
            f"{len(own)} calibrations and a trial without a starting time",
            "a time that tells which of them holds",
            "fill in started_at in trials.csv",
        )
    before = own if pd.isna(started_at) else [part for part in own if part.calibrated_at <= started_at]
    if before:
        return before[-1], ""
    after = own[0]
    return (
        after,
        f"Recorder {recorder} was calibrated only after the trial, on {after.calibrated_at:%Y-%m-%d}.",
    )
