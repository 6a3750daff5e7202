"""Sentences of the notebook on ring and power."""

from __future__ import annotations

import numpy as np

from analysis_lib.reports.rider.ring_comparison import RingComparison, closed_form_error_pct
from analysis_lib.statistics.estimates import show_number


def through_the_turn(rings: RingComparison) -> list[str]:
    """Say how gear and crank speed vary on both rings."""
    frame = rings.through_the_turn()
    words = []
    for ring, curve in frame.groupby("ring", sort=False):
        speed = curve["speed_pct"]
        low, high = f"{curve['gear'].min():.3f}", f"{curve['gear'].max():.3f}"
        gear = f"stays at {low}" if low == high else f"runs from {low} to {high}"
        words.append(
            f"On the {ring} ring the gear {gear} and crank speed runs from {speed.min():.1f} to {speed.max():.1f} % of its"
            " mean."
        )
    return words


def meter(rings: RingComparison) -> list[str]:
    """Say what a meter with one reading a turn would make of both rings, beside the closed form."""
    errors = rings.meter_errors((1,)).set_index("ring")["error_pct"]
    oval = rings.drivetrains["oval"]
    closed = closed_form_error_pct(rings.torque_Nm, oval.ring.axis_ratio, oval.peak_arm_deg)
    gap = float(rings.meter_gap((1,))["gap_W"].iloc[0])
    return [
        (
            f"With one speed reading a turn a meter errs by {show_number(errors['round'], 2, signed=True)} %"
            f" on the round ring and by {show_number(errors['oval'], 2, signed=True)} % on the oval ring, so"
            f" it shows {show_number(gap, 2, signed=True)} W of oval − round at {rings.power_W:.0f} W"
            " although the torque is the same."
        ),
        (
            f"The first-order formula for a chain of steady speed gives {show_number(closed, 2, signed=True)}"
            " % for the oval ring."
        ),
    ]


def doubts(rings: RingComparison) -> list[str]:
    """List what the model leaves out."""
    oval = rings.drivetrains["oval"]
    load = float(np.mean(oval.crank_inertia(np.linspace(0, 2 * np.pi, 360, endpoint=False))))
    return [
        (
            "The torque is held the same on both rings. A rider may answer the ring with another torque; that"
            " is what the study is for."
        ),
        (
            f"The drivetrain is rigid and the resistance constant, with a crank inertial load of {load:.1f}"
            " kg·m². Another inertia moves the numbers as the table shows."
        ),
        (
            "Chordal ripple of single links is given in the table of the chain but left out of crank speed and"
            " power; flex of crank and frame is left out altogether."
        ),
        (
            "The legs are stated, not measured: lengths, hip and foot pitch are those of nobody in particular, and the"
            " tables of segment masses differ by 40 % at the thigh."
        ),
    ]


def methods(rings: RingComparison) -> list[str]:
    """Say how the numbers were made."""
    return [
        (
            "Lever arm: support function of an ellipse with perimeter teeth × 12.7 mm at the normal of the"
            " common tangent of ring and sprocket. Crank speed: steady periodic solution of the energy"
            " balance over angle. Meter error: sector by sector, torque averaged over time times the sector's"
            " mean speed, against angle-mean torque × 2π / duration."
        ),
        (
            "Places: the same energy balance with torque that falls with crank speed by the stated slope; a brake that"
            " holds power follows power over wheel speed with a first-order lag. Start: crank angle, wheel speed and brake"
            " integrated in time (Runge–Kutta of order 5)."
        ),
        (
            "Stroke: mean two-leg torque of the rider's trials at this intensity, torque phase"
            f" {rings.torque_phase_deg:.1f}°, {rings.cadence_rpm:.1f} rpm."
        ),
    ]
