"""Figures and tables of the notebook on ring and power."""

from __future__ import annotations

import numpy as np

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import error_by_phase, gear_and_speed, meter_error_panels
from analysis_lib.reports.rider.ring_comparison import RingComparison

WHEEL_INERTIAS_KGM2 = (0.3, 1.0, 9.0, np.inf)
"""A light and a heavy ergometer flywheel seen at the sprocket, 80 kg on the road, and a chain of steady speed."""

GEOMETRY_DIGITS = {
    "axis_ratio": 3,
    "semi_major_mm": 2,
    "semi_minor_mm": 2,
    "area_cm2": 1,
    "largest_gear": 3,
    "smallest_gear": 3,
    "mount_deg": 1,
    "peak_arm_deg": 1,
}


def geometry_table(rings: RingComparison) -> TableExhibit:
    """Give shape and gear of both rings."""
    return TableExhibit(
        "geometry",
        rings.geometry(),
        "Shape of the rings and gear through the turn. Mount: right crank to major axis; peak arm:"
        " right-crank angle of the largest lever arm, which follows from mount, ring and the slope of the"
        " upper chain run.",
        {"area_cm2": "area (cm²)"},
        GEOMETRY_DIGITS,
    )


def gear_and_speed_exhibit(rings: RingComparison) -> FigureExhibit:
    """Draw gear and crank speed through the turn."""
    frame = rings.through_the_turn()
    return FigureExhibit(
        "gear_and_speed",
        gear_and_speed(frame),
        f"Gear (left) and crank speed (right) through the turn at {rings.cadence_rpm:.0f} rpm and"
        f" {rings.power_W:.0f} W with the study's inertia. Where the gear is large the crank is slow; two"
        " turns of the pattern a crank turn.",
        "Two line charts against crank angle, round ring and oval ring: gear, and crank speed in percent of"
        " its mean.",
        frame,
    )


def inertia_table(rings: RingComparison) -> TableExhibit:
    """Give speed variation by inertia."""
    return TableExhibit(
        "inertia",
        rings.speed_by_inertia(WHEEL_INERTIAS_KGM2),
        "Peak-to-peak variation of crank speed in % of its mean, by the inertia that the crank feels (∞: a"
        " chain of steady speed), for the same torque.",
        {
            "crank_inertial_load_kgm2": "crank inertial load (kg·m²)",
            "speed_variation_pct": "speed variation (%)",
        },
        {"crank_inertial_load_kgm2": 1, "speed_variation_pct": 2},
    )


def meter_exhibit(rings: RingComparison) -> FigureExhibit:
    """Draw a meter's error against speed readings and axis ratio."""
    errors = rings.meter_errors()
    return FigureExhibit(
        "meter_error",
        meter_error_panels(errors, rings.errors_by_axis_ratio()),
        "Error of power from time-averaged torque × sector-mean speed. Left: against speed readings (sectors)"
        " a turn for the study's rings. Right: against axis ratio for one, four and sixteen readings, the"
        " peak arm kept where it is.",
        "Two line charts: power error in percent against speed sectors a turn by ring, and against axis ratio"
        " by number of sectors.",
        errors,
    )


def meter_table(rings: RingComparison) -> TableExhibit:
    """Give the meter's error by ring and readings a turn."""
    return TableExhibit(
        "meter_error",
        rings.meter_errors(),
        "Power error by ring and speed readings a turn, in % and W.",
        {"error_pct": "error (%)", "error_W": "error (W)"},
        {"error_pct": 3, "error_W": 2},
    )


def mount_exhibit(rings: RingComparison) -> FigureExhibit:
    """Draw the error of a meter with one reading a turn as the oval ring is turned on the crank."""
    frame = rings.errors_by_peak_arm()
    return FigureExhibit(
        "error_by_mount",
        error_by_phase(frame, rings.torque_phase_deg),
        "Error of a meter with one speed reading a turn as the oval ring is turned: it over-reads with the"
        " peak arm at the torque phase (dashed), under-reads across it, and is near zero half-way between.",
        "Line chart of power error against peak-arm angle, one wave over 180 degrees.",
        frame,
    )
