"""Calibrations and slow turns on the data-quality page, against lines and offsets that were put in."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.measurement.calibration_exhibits import calibration_tables
from analysis_lib.signals.calibration import calibrate_statically, hung_mass_torque
from analysis_lib.signals.crank_checks import angle_zero_from_slow_turn
from analysis_lib.study.corrections.calibrations import RecorderCalibration
from analysis_lib.study.corrections.trial_correction import RecorderKnowledge

LOADS_KG = np.array([0, 5, 10, 15, 20, 15, 10, 5, 0], dtype=float)


def study_with(calibrations=(), zeros=None):
    recorder = SimpleNamespace(angle_offset_deg=2.0)
    known = RecorderKnowledge(pd.DataFrame(), list(calibrations), zeros or {})
    return SimpleNamespace(known=known, settings=SimpleNamespace(recorders={"crank": recorder}))


def test_nothing_calibrated_shows_no_table():
    assert calibration_tables(study_with()) == []


def test_a_line_and_its_intervals():
    """Readings 0.4 + 1.02 · applied, give or take 0.05 N·m by turns: numpy's line, and 2.365 for 7 degrees of freedom."""
    applied = hung_mass_torque(LOADS_KG, 0.17)
    reading = 0.4 + 1.02 * applied + 0.05 * (-1) ** np.arange(9)
    part = RecorderCalibration(
        "crank", pd.Timestamp("2026-03-01"), {"left": calibrate_statically(applied, reading)}
    )
    (table,) = calibration_tables(study_with([part]))
    (row,) = table.frame.to_dict("records")
    (slope, offset), covariance = np.polyfit(applied, reading, 1, cov=True)
    assert (row["slope"], row["offset_Nm"]) == pytest.approx((slope, offset), rel=1e-9)
    assert row["slope_high"] - row["slope"] == pytest.approx(2.365 * np.sqrt(covariance[0, 0]), rel=3e-4)
    assert row["offset_Nm"] - row["offset_low"] == pytest.approx(2.365 * np.sqrt(covariance[1, 1]), rel=3e-4)
    assert (row["loads"], row["calibrated"], row["channel"]) == (9, "2026-03-01", "left")
    assert row["largest_Nm"] == pytest.approx(20 * 9.80665 * 0.17)


def test_a_slow_turn_beside_what_is_taken_off():
    true = np.radians(np.arange(0, 360, 5.0))
    noise = 0.1 * np.cos(37 * np.arange(true.size))
    torque = 0.5 + hung_mass_torque(10, 0.17, np.degrees(true)) + noise
    zero = angle_zero_from_slow_turn(true + np.radians(7.0), torque)
    (table,) = calibration_tables(study_with(zeros={"crank": [zero]}))
    (row,) = table.frame.to_dict("records")
    assert row["low"] < 7.0 < row["high"]
    assert row["zero_deg"] == pytest.approx(7.0, abs=0.2)
    assert row["taken_off_deg"] == 2.0
