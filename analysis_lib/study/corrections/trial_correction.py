"""A trial's recording on its way to a result: zero torque off, calibration applied, and what is to be said of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.signals.calibration import apply_calibration
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import TrialResult, analyse_corrected
from analysis_lib.signals.zero_drift import fit_quality, fit_zero_drift, remove_zero_drift
from analysis_lib.signals.zero_force import line_of_legs, remove_zero_force
from analysis_lib.signals.zero_torque import remove_zero_torque, zero_line
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.study.corrections.angle_error import angle_error_sentence
from analysis_lib.study.corrections.angle_zeros import sentences_on_zero
from analysis_lib.study.corrections.calibrations import RecorderCalibration, calibration_for
from analysis_lib.study.corrections.target_power import check_target
from analysis_lib.study.corrections.zero_lookup import NearChecks, all_checks, checks_around, zero_columns
from analysis_lib.study.declared.recorder_map import RecorderMap
from analysis_lib.study.declared.settings import StudySettings

EVEN_ANGLES_ON_OVAL = (
    "Its samples have made-up angles, evenly spaced between messages; this ring spaces them unevenly."
)


@dataclass(frozen=True)
class RecorderKnowledge:
    """What is known of the recorders beyond study.toml.

    Attributes
    ----------
    zero_checks : DataFrame
    calibrations : list of RecorderCalibration
        In order of time.
    angle_zeros : dict of str to list of Estimate
        By recorder, from its slow turns.
    """

    zero_checks: pd.DataFrame
    calibrations: list[RecorderCalibration] = field(default_factory=list)
    angle_zeros: dict[str, list[Estimate]] = field(default_factory=dict)

    def fingerprint(self) -> str:
        """Return a text that changes with anything that calibrations or slow turns tell, for whoever keeps results."""
        return f"{self.calibrations!r} {self.angle_zeros!r}"

    def inform(self, settings: StudySettings) -> StudySettings:
        """Fill in the uncertainties that a recorder does not declare and that its calibrations and slow turns tell."""
        recorders = {}
        for name, recorder in settings.recorders.items():
            told = {
                "slope_uncertainty_pct": [
                    part.slope_uncertainty_pct for part in self.calibrations if part.recorder == name
                ],
                "angle_zero_uncertainty_deg": [zero.se for zero in self.angle_zeros.get(name, [])],
            }
            learnt = {
                key: max(values) for key, values in told.items() if values and getattr(recorder, key) is None
            }
            own = [part.temperature_C for part in self.calibrations if part.recorder == name]
            last = own[-1] if own and None not in own else None
            if recorder.calibrated_at_degC is None and last is not None:
                learnt["calibrated_at_degC"] = last
            recorders[name] = recorder.model_copy(update=learnt)
        return settings.model_copy(update={"recorders": recorders})


def analyse_row(
    row: Any, recording: Recording, settings: StudySettings, known: RecorderKnowledge
) -> TrialResult:
    """Correct and analyse one trial.

    Zero torque goes first, in the recorder's own reading, and the slope after it. `zero_model` of the rules says
    whether the zero is a line between the checks around the trial, or a fit of all checks of the recorder on
    temperature and time.

    Parameters
    ----------
    row : row of trials.csv
    recording : Recording
        As read.
    settings : StudySettings
    known : RecorderKnowledge

    Raises
    ------
    Refusal
        What zero checks, calibration or turns cannot give.
    """
    recorder = settings.recorders[row.recorder]
    start_s = float(recording.time_s[0])
    checks = checks_around(settings, known.zero_checks, row, start_s)
    line = zero_line(checks.before, checks.after, recording.duration_s, start_s)
    known_zero: dict[str, float] = {}
    if settings.rules.zero_model == "temperature":
        every = all_checks(settings, known.zero_checks, row, start_s)
        channels = zero_columns(settings, known.zero_checks, row.recorder)
        fits = {channel: fit_zero_drift(every, channel) for channel in channels}
        recording, line = remove_zero_drift(recording, fits), line_of_legs(recording, line)
        known_zero = fit_quality(fits, recording)
    else:
        recording, line = remove_zero_force(recording, line)
        recording = remove_zero_torque(recording, line)
    calibration, late = calibration_for(known.calibrations, row.recorder, row.started_at)
    if calibration is not None:
        recording = apply_calibration(recording, calibration.channels, recorder.calibration_override)
    result = analyse_corrected(recording, line, settings.rules.turn_rules())
    targets = {part.name: part.target_power_W for part in settings.intensities}
    off_target = check_target(result.value("power_W"), targets.get(row.intensity), row.trial)
    assumptions, cautions = sentences_on_zero(
        known.angle_zeros.get(row.recorder, []), recorder.angle_offset_deg
    )
    mount_deg = None if pd.isna(row.mount_deg) else float(row.mount_deg)
    astray = angle_error_sentence(result, recorder, settings.drivetrain_for(row.ring, mount_deg))
    beyond = _beyond_calibration(recording, calibration)
    if recorder.messages is not None and settings.rings[row.ring].axis_ratio > 1:
        beyond.append(EVEN_ANGLES_ON_OVAL)
    return replace(
        result,
        assumptions=[*result.assumptions, *filter(None, (late, astray)), *assumptions],
        cautions=[*result.cautions, *off_target, *cautions, *beyond],
        quality={**result.quality, **known_zero, **_warmth(recording, checks, recorder, calibration)},
    )


def _warmth(
    recording: Recording,
    checks: NearChecks,
    recorder: RecorderMap,
    calibration: RecorderCalibration | None,
) -> dict[str, float]:
    """How warm the recorder was, as recorded or else at the checks around the trial, and how far from its calibration."""
    read = [check.temperature_C for check in (*checks.before, *checks.after)]
    warmth = recording.temperature_C
    if warmth is None:
        warmth = np.array([float(part) for part in read if part is not None])
    warmth = warmth[np.isfinite(warmth)]
    if not warmth.size:
        return {}
    quality = {"recorder_temperature_C": float(warmth.mean())}
    own = calibration.temperature_C if calibration else None
    calibrated = recorder.calibrated_at_degC if own is None else own
    if calibrated is not None:
        quality["from_calibration_degC"] = float(np.abs(warmth - calibrated).max())
    return quality


def _beyond_calibration(recording: Recording, calibration: RecorderCalibration | None) -> list[str]:
    said = []
    for channel, part in (calibration.channels if calibration else {}).items():
        reached = float(np.percentile(np.abs(recording.torque[channel]), 99))
        if reached > part.largest_load_Nm:
            said.append(
                f"Torque of {channel} reached {reached:.1f} N·m, beyond the {part.largest_load_Nm:.1f} N·m to which it"
                " was calibrated."
            )
    return said
