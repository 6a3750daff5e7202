"""Figure, table and sentences on the work that an oval ring moves between the joints, beside a published trial."""

from __future__ import annotations

import pandas as pd

from analysis_lib.mechanics.joint_shift import (
    STRUTZENBERGER_RATIO,
    STRUTZENBERGER_RPM,
    STRUTZENBERGER_W,
    strutzenberger_shifts,
)
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.joint_figures import joint_shift_panels
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.reports.ring_mechanics.ring_joints import right_leg_Nm
from analysis_lib.statistics.estimates import show_number

SHOWN = ("hip_points", "knee_points", "knee_peak_pct")


def shift_on_oval(
    analysis: RiderAnalysis, intensity: str, rings: RingComparison, legs: StatedLegs
) -> pd.DataFrame:
    """Run the rider's right leg at the ring, cadences and powers of the trial; see `strutzenberger_shifts`.

    Raises
    ------
    Refusal
        Where the right leg's own torque was not measured.
    """
    torque = right_leg_Nm(analysis, intensity)
    return strutzenberger_shifts(rings.drivetrains["round"], torque, legs.path, legs.segments)


def shift_sentences(shifts: pd.DataFrame) -> list[str]:
    """Say whether the model shifts work as the trial found, and on what that hangs."""
    in_phase = shifts[shifts["offset_deg"] == 0]
    knee, hip, peak = (_range(in_phase[name]) for name in ("knee_points", "hip_points", "knee_peak_pct"))
    slow, fast = (
        _size(in_phase, "cadence_rpm", end) for end in (STRUTZENBERGER_RPM[0], STRUTZENBERGER_RPM[-1])
    )
    light, heavy = (_size(in_phase, "power_W", end) for end in STRUTZENBERGER_W)
    less, more = (in_phase["knee_points"] < 0).all(), (in_phase["hip_points"] > 0).all()
    agrees = "as the trial found" if less and more else "which the trial did not find in every case"
    grows = (
        "which grows with cadence and not with power, as was found"
        if fast > slow and heavy <= light
        else "which was found to grow with cadence and not with power"
    )
    return [
        (
            "Strutzenberger 2014 (abstract read, year from memory) found on a ring of axis ratio"
            f" {STRUTZENBERGER_RATIO:g} less of the work by the knee, more by the hip, lower knee moment; effects that"
            " grew with cadence, not with power. Mechanics with the same torque at every angle, largest arm at the torque"
            f" phase, moves the knee's share by {knee} and the hip's by {hip} points over the plausible radial forces,"
            f" {agrees}; on average over these the knee's share moves by {show_number(slow, 1)} points at"
            f" {STRUTZENBERGER_RPM[0]:g} rpm and {show_number(fast, 1)} at {STRUTZENBERGER_RPM[-1]:g},"
            f" {show_number(light, 1)} at {STRUTZENBERGER_W[0]:g} W and {show_number(heavy, 1)} at"
            f" {STRUTZENBERGER_W[1]:g}, {grows}."
        ),
        (
            f"The largest knee moment moves by {peak} %, so its direction hangs on the radial force. With the largest"
            " arm 45° away from the torque phase the shifts may turn round: the mount of the trial was not readable."
        ),
    ]


def _range(values: pd.Series) -> str:
    low, high = (show_number(float(end), 1, signed=True) for end in (values.min(), values.max()))
    return f"{low} to {high}"


def _size(shifts: pd.DataFrame, column: str, value: float) -> float:
    return float(shifts.loc[shifts[column] == value, "knee_points"].abs().mean())


def _bands(shifts: pd.DataFrame) -> pd.DataFrame:
    """Lowest and highest shift over the radial forces for each power, cadence and mount."""
    ends = {"low": "min", "high": "max"}
    return shifts.groupby(["power_W", "cadence_rpm", "offset_deg"], as_index=False).agg(
        **{f"{name}_{end}": (name, function) for name in SHOWN for end, function in ends.items()}
    )


def shift_exhibit(shifts: pd.DataFrame) -> FigureExhibit:
    """Draw the shift of hip and knee share against cadence, largest arm at the torque phase."""
    in_phase = shifts[shifts["offset_deg"] == 0]
    bands = _bands(in_phase)
    return FigureExhibit(
        "joint_shift",
        joint_shift_panels(bands),
        "Shift of the share of hip (circles) and knee (squares) in the work, oval − round, against cadence, largest arm"
        " at the torque phase; bands: over the plausible radial forces. Look for bands that open with cadence and not"
        " with power, as the trial found.",
        "Two line charts, one a power, of the shift of hip and knee share against cadence: hip"
        f" {_range(in_phase['hip_points'])}, knee {_range(in_phase['knee_points'])} points.",
        bands,
    )


def shift_table(shifts: pd.DataFrame) -> TableExhibit:
    """Give lowest and highest shift over the radial forces for each power, cadence and mount."""
    frame = shifts.groupby(["power_W", "cadence_rpm", "offset_deg"], as_index=False).agg(
        **{
            f"{name}_{end}": (name, function)
            for name in SHOWN
            for end, function in (("low", "min"), ("high", "max"))
        }
    )
    headings = {
        "power_W": "power (W)",
        "cadence_rpm": "cadence (rpm)",
        "offset_deg": "arm from torque phase (deg)",
    }
    labels = ("hip's share (points)", "knee's share (points)", "largest knee moment (%)")
    for name, label in zip(SHOWN, labels, strict=True):
        headings |= {f"{name}_low": f"{label}, from", f"{name}_high": "to"}
    return TableExhibit(
        "joint_shift",
        frame,
        f"What a ring of axis ratio {STRUTZENBERGER_RATIO:g} moves from round to oval at the powers and cadences of"
        " Strutzenberger 2014, torque unchanged at every angle, over the three radial forces; inertia as in the study.",
        headings,
        dict.fromkeys(("power_W", "cadence_rpm", "offset_deg"), 0) | dict.fromkeys(list(headings)[3:], 1),
    )  # fmt: skip
