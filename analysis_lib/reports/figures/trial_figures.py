"""One trial: what was recorded, its mean stroke, and its turns one after the other."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    BLUE,
    GREEN,
    GREY,
    INK,
    VERMILLION,
    crank_axis,
    in_house_style,
    legend_above,
    name_crank_axis,
    new_figure,
)

CHANNEL_LOOKS = {"total": (INK, "-"), "right": (BLUE, "-"), "left": (VERMILLION, "--")}


@in_house_style
def raw_stretch(torque: pd.DataFrame, dead_centres_s: np.ndarray) -> Figure:
    """Return recorded torque against time; ``time_s`` and a column a channel; a line at each top dead centre."""
    figure, (axes,) = new_figure(height_mm=55)
    for time in dead_centres_s:
        axes.axvline(time, color=GREY, linewidth=0.7)
    axes.axhline(0, color=GREY, linewidth=0.6)
    for channel in torque.columns.drop("time_s"):
        colour, line = CHANNEL_LOOKS[channel]
        axes.plot(
            torque["time_s"], torque[channel], line, color=colour, label=channel, marker=".", markersize=2
        )
    axes.set_xlabel("Time (s)")
    axes.set_ylabel("Torque as recorded (N·m)")
    legend_above(figure, axes)
    return figure


@in_house_style
def mean_stroke(curves: pd.DataFrame) -> Figure:
    """Return mean torque with its interval by channel; ``channel, crank_deg, mean, low, high``."""
    figure, (axes,) = new_figure(height_mm=62)
    axes.axhline(0, color=GREY, linewidth=0.6)
    for channel, curve in curves.groupby("channel", sort=False):
        colour, line = CHANNEL_LOOKS[str(channel)]
        axes.fill_between(
            curve["crank_deg"], curve["low"], curve["high"], color=colour, alpha=0.2, linewidth=0
        )
        axes.plot(curve["crank_deg"], curve["mean"], line, color=colour, label=str(channel))
    crank_axis(axes)
    axes.set_ylabel("Torque (N·m)")
    name_crank_axis(figure)
    legend_above(figure, axes)
    return figure


@in_house_style
def turn_series(turns: pd.DataFrame) -> Figure:
    """Return power and cadence turn by turn; ``start_s, power_W, cadence_rpm``."""
    figure, panels = new_figure(2, 1, height_mm=75, sharex=True)
    for axes, column, label, colour in zip(
        panels, ("power_W", "cadence_rpm"), ("Power (W)", "Cadence (rpm)"), (BLUE, GREEN), strict=True
    ):
        axes.plot(turns["start_s"], turns[column], ".-", color=colour, linewidth=0.7, markersize=3)
        axes.set_ylabel(label)
    panels[-1].set_xlabel("Start of the turn (s)")
    return figure
