"""Static calibrations and slow turns of a study's recorders, where there are any."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.study.checks.folder import Study

ENDS = {"low": "low", "high": "high"}


def calibration_tables(study: Study) -> list[TableExhibit]:
    """Return the table of static calibrations and that of angle zeros, those that have rows."""
    tables = [_calibrations(study), _angle_zeros(study)]
    return [table for table in tables if len(table.frame)]


def _calibrations(study: Study) -> TableExhibit:
    rows = []
    for part in study.known.calibrations:
        for channel, found in part.channels.items():
            slope, offset = found.slope.interval(0.95), found.offset.interval(0.95)
            rows.append(
                {
                    "recorder": part.recorder,
                    "calibrated": f"{part.calibrated_at:%Y-%m-%d}",
                    "channel": channel,
                    "loads": found.slope.n,
                    "largest_Nm": found.largest_load_Nm,
                    "slope": found.slope.value,
                    "slope_low": slope.low,
                    "slope_high": slope.high,
                    "offset_Nm": found.offset.value,
                    "offset_low": offset.low,
                    "offset_high": offset.high,
                    "linearity_pct": found.linearity_pct,
                    "hysteresis_pct": found.hysteresis_pct,
                }
            )
    return TableExhibit(
        "calibrations",
        pd.DataFrame(rows),
        "Static calibrations with hung masses, reading = offset + slope × m·g·L·sin θ by least squares: slope and offset"
        " with 95 % intervals, largest distance from the line and largest difference between loading and unloading in"
        " percent of the range. The slope is divided out of every trial that follows; the offset is left to the zero"
        " checks.",
        {
            "largest_Nm": "largest (N·m)",
            "slope_low": ENDS["low"],
            "slope_high": ENDS["high"],
            "offset_Nm": "offset (N·m)",
            "offset_low": ENDS["low"],
            "offset_high": ENDS["high"],
            "linearity_pct": "linearity (%)",
            "hysteresis_pct": "hysteresis (%)",
        },
        {"largest_Nm": 1}
        | dict.fromkeys(("slope", "slope_low", "slope_high"), 4)
        | dict.fromkeys(("offset_Nm", "offset_low", "offset_high", "linearity_pct", "hysteresis_pct"), 2),
    )


def _angle_zeros(study: Study) -> TableExhibit:
    rows = []
    for recorder, zeros in study.known.angle_zeros.items():
        taken_off = study.settings.recorders[recorder].angle_offset_deg or 0.0
        for zero in zeros:
            found = zero.interval(0.95)
            rows.append((recorder, zero.value, found.low, found.high, taken_off))
    return TableExhibit(
        "angle_zeros",
        pd.DataFrame(rows, columns=["recorder", "zero_deg", "low", "high", "taken_off_deg"]),
        "Recorded angle at true top dead centre, by slow turns with a mass on one pedal, with 95 % intervals; and what"
        " study.toml declares as angle_offset_deg, which alone is taken off.",
        {"zero_deg": "zero (°)", "taken_off_deg": "taken off (°)", **ENDS},
        dict.fromkeys(("zero_deg", "low", "high", "taken_off_deg"), 2),
    )
