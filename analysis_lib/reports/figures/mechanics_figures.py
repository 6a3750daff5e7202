"""What ring, place and start must change: gear, crank speed, torque and a meter's error."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    GREY,
    INK,
    LOOKS,
    VERMILLION,
    crank_axis,
    in_house_style,
    legend_above,
    name_crank_axis,
    name_panel,
    new_figure,
)


@in_house_style
def gear_and_speed(curves: pd.DataFrame) -> Figure:
    """Return gear and crank speed through the turn for each ring; columns ``ring, crank_deg, gear, speed_pct``."""
    figure, (left, right) = new_figure(1, 2, height_mm=60)
    for ring, curve in curves.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        left.plot(curve["crank_deg"], curve["gear"], color=look.colour, linestyle=look.line, label=str(ring))
        right.plot(curve["crank_deg"], curve["speed_pct"], color=look.colour, linestyle=look.line)
    left.set_ylabel("Gear (wheel turns per crank turn)")
    right.set_ylabel("Crank speed (% of its mean)")
    for axes in (left, right):
        crank_axis(axes)
    name_crank_axis(figure)
    legend_above(figure, left, "ring")
    return figure


@in_house_style
def meter_error_panels(by_sectors: pd.DataFrame, by_axis_ratio: pd.DataFrame) -> Figure:
    """Return a meter's power error against speed sectors a turn and against the ring's axis ratio.

    ``by_sectors``: ``ring, sectors, error_pct``; ``by_axis_ratio``: ``axis_ratio, sectors, error_pct``.
    """
    figure, (left, right) = new_figure(1, 2, height_mm=60)
    for ring, rows in by_sectors.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        left.plot(
            rows["sectors"],
            rows["error_pct"],
            color=look.colour,
            linestyle=look.line,
            marker=look.marker,
            label=str(ring),
        )
    left.set_xscale("log", base=2)
    left.set_xticks(
        sorted(by_sectors["sectors"].unique()), [str(n) for n in sorted(by_sectors["sectors"].unique())]
    )
    left.minorticks_off()
    left.set_xlabel("Speed sectors a turn")
    left.set_ylabel("Power error (%)")
    legend_above(figure, left, "ring")
    lines = ["-", "--", ":", "-."]
    for line, (sectors, rows) in zip(lines, by_axis_ratio.groupby("sectors"), strict=False):
        right.plot(
            rows["axis_ratio"], rows["error_pct"], color=VERMILLION, linestyle=line, label=f"{sectors}"
        )
    right.set_xlabel("Axis ratio (major / minor)")
    right.legend(title="sectors a turn")
    for axes in (left, right):
        axes.axhline(0, color=GREY, linewidth=0.7)
    return figure


@in_house_style
def error_by_phase(curves: pd.DataFrame, rider_phase_deg: float) -> Figure:
    """Return the error of a whole-turn speed meter against the peak-arm angle; ``peak_arm_deg, error_pct``."""
    figure, (axes,) = new_figure(height_mm=58)
    axes.axhline(0, color=GREY, linewidth=0.7)
    axes.plot(curves["peak_arm_deg"], curves["error_pct"], color=INK)
    axes.axvline(rider_phase_deg, color=VERMILLION, linestyle="--", linewidth=0.9)
    axes.set_xlim(0, 180)
    axes.set_xticks(np.arange(0, 181, 30))
    axes.set_xlabel("Peak-arm angle (deg)")
    axes.set_ylabel("Power error, one speed a turn (%)")
    name_panel(axes, "dashed: torque phase")
    return figure


@in_house_style
def chain_panels(curves: pd.DataFrame) -> Figure:
    """Return chain to take up and height of the ring's top; ``ring, crank_deg, given_back_mm, ring_top_mm``."""
    figure, (left, right) = new_figure(1, 2, height_mm=56)
    for ring, curve in curves.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        for axes, column in ((left, "given_back_mm"), (right, "ring_top_mm")):
            axes.plot(
                curve["crank_deg"], curve[column], color=look.colour, linestyle=look.line, label=str(ring)
            )
    left.set_ylabel("Chain to take up (mm)")
    right.set_ylabel("Top of the ring (mm above axis)")
    for axes in (left, right):
        crank_axis(axes)
    name_crank_axis(figure)
    legend_above(figure, left, "ring")
    return figure


@in_house_style
def environment_panels(turn: pd.DataFrame) -> Figure:
    """Return crank speed and torque in three places, and torque less that on the road.

    Columns ``crank_deg``; ``speed_road_rpm``, ``torque_road_Nm``; of the ergometers ``speed_ergometer_rpm``,
    ``torque_ergometer_Nm`` and ``torque_shift_Nm``, with ``_held`` at their end where power is held.
    """
    figure, (left, middle, right) = new_figure(1, 3, height_mm=56)
    places = (
        ("road", "-", "road", ""),
        ("even brake", "--", "ergometer", ""),
        ("power held", ":", "ergometer", "_held"),
    )
    for name, line, place, end in places:
        left.plot(turn["crank_deg"], turn[f"speed_{place}_rpm{end}"], color=INK, linestyle=line, label=name)
        middle.plot(turn["crank_deg"], turn[f"torque_{place}_Nm{end}"], color=INK, linestyle=line)
        if place == "ergometer":
            right.plot(turn["crank_deg"], turn[f"torque_shift_Nm{end}"], color=INK, linestyle=line)
    right.axhline(0, color=GREY, linewidth=0.7)
    left.set_ylabel("Crank speed (rpm)")
    middle.set_ylabel("Torque (N·m)")
    right.set_ylabel("Torque − road (N·m)")
    for axes in (left, middle, right):
        crank_axis(axes)
    name_crank_axis(figure)
    legend_above(figure, left)
    return figure


@in_house_style
def start_panels(starts: pd.DataFrame, turns: pd.DataFrame) -> Figure:
    """Return crank speed in time from rest, and the last turn over the steady one.

    ``starts``, one row a turn: ``ring, time_s, slowest_rpm, fastest_rpm, cadence_rpm``; ``turns``:
    ``ring, crank_deg, speed_start_rpm, speed_steady_rpm``.
    """
    figure, (left, right) = new_figure(1, 2, height_mm=60, width_ratios=[1.4, 1])
    for ring, run in starts.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        left.fill_between(
            run["time_s"], run["slowest_rpm"], run["fastest_rpm"], color=look.colour, alpha=0.2, linewidth=0
        )
        left.plot(run["time_s"], run["cadence_rpm"], color=look.colour, linestyle=look.line, label=str(ring))
    for ring, turn in turns.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        right.plot(turn["crank_deg"], turn["speed_steady_rpm"], color=look.colour, linestyle=look.line)
        every = turn.iloc[::15]
        right.plot(
            every["crank_deg"],
            every["speed_start_rpm"],
            look.marker,
            color=look.colour,
            markerfacecolor="none",
        )
    left.set_xlabel("Time from rest (s)")
    left.set_ylabel("Crank speed (rpm)")
    crank_axis(right)
    right.set_xlabel("Right-crank angle from top dead centre (deg)")
    right.set_ylabel("Crank speed (rpm)")
    legend_above(figure, left, "ring")
    return figure


@in_house_style
def mount_shift_curves(curves: pd.DataFrame, half_hole_deg: float | None) -> Figure:
    """Return the shift of the wanted mount against crank inertial load, a line a slope.

    Columns ``lost_pct_per_rpm, crank_load_kgm2, mount_shift_deg``; half a step between holes is marked.
    """
    figure, (axes,) = new_figure(height_mm=58)
    lines = ["-", "--", "-.", ":"]
    for line, (lost, rows) in zip(lines, curves.groupby("lost_pct_per_rpm"), strict=False):
        axes.plot(
            rows["crank_load_kgm2"], rows["mount_shift_deg"], color=INK, linestyle=line, label=f"{lost:.2g}"
        )
    axes.axhline(0, color=GREY, linewidth=0.7)
    if half_hole_deg is not None:
        axes.axhspan(-half_hole_deg, half_hole_deg, color=GREY, alpha=0.12, linewidth=0)
    axes.set_xscale("log")
    axes.set_xticks([2, 5, 10, 20, 50], ["2", "5", "10", "20", "50"])
    axes.minorticks_off()
    axes.set_xlabel("Crank inertial load of the ergometer (kg·m²)")
    axes.set_ylabel("Shift of wanted mount (deg)")
    axes.legend(title="torque lost (% per rpm)", ncols=2, loc="lower right")
    return figure


@in_house_style
def slope_panels(rows: pd.DataFrame) -> Figure:
    """Return change of power, change of torque phase and meter error against the torque lost per rpm.

    Columns ``lost_pct_per_rpm, at_hand, power_change_pct, phase_change_deg, meter_error_pct``.
    """
    figure, panels = new_figure(1, 3, height_mm=52)
    names = {
        "power_change_pct": "Change of power (%)",
        "phase_change_deg": "Change of phase (deg)",
        "meter_error_pct": "Power error (%)",
    }
    here = rows[rows["at_hand"]]
    for axes, (column, label) in zip(panels, names.items(), strict=True):
        axes.plot(rows["lost_pct_per_rpm"], rows[column], "o-", color=VERMILLION, markerfacecolor="none")
        axes.plot(here["lost_pct_per_rpm"], here[column], "o", color=VERMILLION)
        axes.set_ylabel(label)
    figure.supxlabel("Torque lost per rpm (%)", fontsize=7.5)
    return figure
