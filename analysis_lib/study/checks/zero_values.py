"""Whether the values of zero_checks.csv can be those of an unloaded crank, and of the recorder that gave the others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.signals.plausibility import HIGHEST_MEAN_TORQUE_NM
from analysis_lib.signals.units import UNITS_BY_QUANTITY
from analysis_lib.study.corrections.zero_lookup import zero_columns
from analysis_lib.study.declared.problems import Problem, Severity
from analysis_lib.study.tables.contents import Contents
from analysis_lib.study.tables.rows import ZERO_CHECKS

AT_REST_NM = 20.0
"""Far more than an unloaded crank shows: a pedal and half a crank of 0.5 kg, level, make 0.17 · 0.5 · 9.8 = 0.8 N·m. A
foot left on the pedal may make as much."""

ARM_M = 0.17
"""Of a common crank, by which forces are held to the bounds of torque."""

LEAST_APART_NM = 5.0
"""Below this a zero stands apart from nothing, whatever the scatter: twice what 25 degrees make of 0.1 N·m a degree."""

SPREADS_APART = 6.0
"""Standard deviations, by the median absolute deviation, from which a zero stands apart."""

SD_OF_MAD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution, 1/0.6745."""

FEWEST_CHECKS = 5

_TORQUE = UNITS_BY_QUANTITY["torque"]
OF_TORQUE = (
    "write it in N·m, whatever unit the recordings are in"
    f" (1 N·m is 1000 mN·m, {1 / _TORQUE['lbf in']:.2f} lbf·in or {1 / _TORQUE['kgf cm']:.1f} kgf·cm)"
)
OF_FORCE = "write it in N, whatever unit the recordings are in"


@dataclass(frozen=True)
class _Channel:
    """One column of a recorder's zeros: its unit, and how many of that unit stand for 1 N·m."""

    recorder: str
    column: str
    full_scale_Nm: float | None

    @property
    def unit(self) -> str:
        return "N" if self.column.endswith("_N") else "N·m"

    @property
    def per_Nm(self) -> float:
        return 1 / ARM_M if self.unit == "N" else 1.0

    @property
    def remedy(self) -> str:
        return OF_FORCE if self.unit == "N" else OF_TORQUE

    def shown(self, value: float) -> str:
        return f"{value:.6g} {self.unit}"

    def problem(self, row: pd.Series, got: str, wanted: str, remedy: str, severity: Severity) -> Problem:
        place = f"{ZERO_CHECKS.file}, row {row['row']}, column {self.column}"
        moment = None if pd.isna(row["checked_at"]) else row["checked_at"].to_pydatetime()
        value = self.shown(float(row[self.column]))
        return Problem(
            place, f"{value}{got}", wanted, remedy, severity=severity, recorder=self.recorder, moment=moment
        )


def check_zero_values(contents: Contents) -> Iterator[Problem]:
    """No zero is more than an unloaded crank shows, nor far from all others of its channel.

    One that no recorder can show is an error of the trials that could have it as theirs, and so are large ones beside it
    in its column, for a column in another unit holds both. Others are under caution: a recorder may have a large zero, or
    one that changed when it was mounted anew.
    """
    for name, recorder in contents.settings.recorders.items():
        own = contents.zero_checks[contents.zero_checks["recorder"] == name]
        for column in zero_columns(contents.settings, contents.zero_checks, name).values():
            if column in own:
                there = own[own[column].notna()]
                yield from _faults_of(there, _Channel(name, column, recorder.full_scale_Nm))


def _faults_of(checks: pd.DataFrame, channel: _Channel) -> Iterator[Problem]:
    values = checks[channel.column].to_numpy(dtype=float)
    beyond = channel.per_Nm * (channel.full_scale_Nm or HIGHEST_MEAN_TORQUE_NM)
    at_rest = min(beyond, channel.per_Nm * AT_REST_NM)
    is_impossible = bool((np.abs(values) > beyond).any())
    severity: Severity = "error" if is_impossible else "caution"
    scale = f"; the recorder's full scale is {channel.full_scale_Nm:g} N·m" if channel.full_scale_Nm else ""
    median, far = _usual(values, channel)
    for position in np.flatnonzero((np.abs(values) > at_rest) | (np.abs(values - median) > far)):
        row, value = checks.iloc[position], values[position]
        if abs(value) > at_rest:
            wanted = f"at most {channel.shown(round(at_rest, 1))} either way, far more than an unloaded crank shows{scale}"
            yield channel.problem(row, "", wanted, channel.remedy, severity)
        else:
            got = f", where the recorder's checks have a median of {channel.shown(round(median, 3))}"
            wanted = f"at most {channel.shown(round(far, 1))} from it"
            remedy = "look for a wrong sign, unit or decimal mark and for a foot on the pedal; it is taken off as it stands"
            yield channel.problem(row, got, wanted, remedy, "caution")


def _usual(values: np.ndarray, channel: _Channel) -> tuple[float, float]:
    """Return the median of a channel's zeros, and from what distance one stands apart from it."""
    if len(values) < FEWEST_CHECKS:
        return 0.0, np.inf
    median = float(np.median(values))
    spread = SD_OF_MAD * float(np.median(np.abs(values - median)))
    return median, max(SPREADS_APART * spread, channel.per_Nm * LEAST_APART_NM)
