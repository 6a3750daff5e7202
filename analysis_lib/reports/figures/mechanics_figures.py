"""What the ring must change: gear and crank speed through the turn, and a meter's error."""

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
    """Return crank speed and torque on the road and on the ergometer.

    Columns ``crank_deg, speed_road_rpm, speed_ergometer_rpm, torque_road_Nm, torque_ergometer_Nm``.
    """
    figure, (left, right) = new_figure(1, 2, height_mm=56)
    for place, line in (("road", "-"), ("ergometer", "--")):
        left.plot(turn["crank_deg"], turn[f"speed_{place}_rpm"], color=INK, linestyle=line, label=place)
        right.plot(turn["crank_deg"], turn[f"torque_{place}_Nm"], color=INK, linestyle=line)
    left.set_ylabel("Crank speed (rpm)")
    right.set_ylabel("Torque on the crank axle (N·m)")
    for axes in (left, right):
        crank_axis(axes)
    name_crank_axis(figure)
    legend_above(figure, left)
    return figure
