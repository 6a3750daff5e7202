"""Rings of other shapes and the same axis ratio: what the curve between the axes changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.ring_shapes import four_arc_ring, harmonic_ring
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.statistics.estimates import show_number

BLUNT_NOSE, SHARP_NOSE = 0.95, 0.5
"""Radius of the noses over the minor semi-axis; an ellipse has minor over major axis."""


def compare_shapes(rings: RingComparison) -> pd.DataFrame:
    """Put rings of other shapes in the oval ring's place, largest arm kept where it is.

    Returns
    -------
    DataFrame
        One row a shape, the study's own first: ``shape, axis_ratio, area_cm2, tightest_mm, largest_gear,
        smallest_gear, speed_swing_pct, meter_error_pct``; the last with one speed reading a turn.
    """
    oval = rings.drivetrains["oval"]
    teeth, ratio = oval.ring.teeth, oval.ring.axis_ratio
    shapes = {
        "as in the study": oval.ring,
        "ellipse": Ring.ellipse(teeth, ratio),
        "one harmonic": harmonic_ring(teeth, {2: (ratio - 1) / (ratio + 1)}),
        "four arcs, blunt noses": four_arc_ring(teeth, ratio, BLUNT_NOSE),
        "four arcs, sharp noses": four_arc_ring(teeth, ratio, SHARP_NOSE),
    }
    return pd.DataFrame([_row(rings, name, ring, oval) for name, ring in shapes.items()])


def _row(rings: RingComparison, name: str, ring: Ring, oval: Drivetrain) -> dict[str, object]:
    drivetrain = replace(oval, ring=ring)
    drivetrain = drivetrain.with_mount(drivetrain.mount_for_peak_arm(oval.peak_arm_deg))
    speed = drivetrain.steady_speed(rings.torque_Nm, rings.cadence_rpm)
    gear = drivetrain.gear(crank_angles(3600))
    return {
        "shape": name,
        "axis_ratio": ring.axis_ratio,
        "area_cm2": 1e4 * ring.area_m2,
        "tightest_mm": 1000 * float(ring.radius_of_curvature(crank_angles(3600)).min()),
        "largest_gear": float(gear.max()),
        "smallest_gear": float(gear.min()),
        "speed_swing_pct": 100 * float(np.ptp(speed)) / (rings.cadence_rpm * 2 * np.pi / 60),
        "meter_error_pct": 100 * power_error(rings.torque_Nm, speed),
    }


def shapes_sentence(frame: pd.DataFrame) -> str:
    """What the curve between the axes changes, in words."""
    swing, error = frame["speed_swing_pct"], frame["meter_error_pct"]
    ends = [show_number(float(end), 1) for end in (swing.min(), swing.max())]
    errors = [show_number(float(end), 2, signed=True) for end in (error.min(), error.max())]
    return (
        f"At one and the same axis ratio the curve between the axes moves the swing of crank speed from {ends[0]} to"
        f" {ends[1]} % and the error of a meter with one speed reading from {errors[0]} to {errors[1]} %: the axis ratio"
        " tells most of what a ring does, and its outline the rest."
    )


def shapes_table(frame: pd.DataFrame) -> TableExhibit:
    """Give every shape."""
    return TableExhibit(
        "other_shapes",
        frame,
        "Rings of the same teeth, axis ratio and peak arm under the same stroke. One harmonic: support function H̄·(1 +"
        f" a₂ cos 2ψ). Four arcs: the draughtsman's oval, nose radius {BLUNT_NOSE:g} and {SHARP_NOSE:g} of the minor"
        " semi-axis. Tightest: smallest radius of curvature.",
        {
            "axis_ratio": "axis ratio",
            "area_cm2": "area (cm²)",
            "tightest_mm": "tightest (mm)",
            "largest_gear": "largest gear",
            "smallest_gear": "smallest gear",
            "speed_swing_pct": "speed swing (%)",
            "meter_error_pct": "meter error (%)",
        },
        {"axis_ratio": 3, "area_cm2": 1, "tightest_mm": 1, "largest_gear": 3, "smallest_gear": 3}
        | {"speed_swing_pct": 2, "meter_error_pct": 2},
    )
