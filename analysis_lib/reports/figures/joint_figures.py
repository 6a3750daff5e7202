"""Speeds and moments of hip, knee and ankle through the turn."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    BLUE,
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

JOINTS = ("hip", "knee", "ankle")


@in_house_style
def joint_speed_panels(speeds: pd.DataFrame) -> Figure:
    """Return one panel a joint, both rings; columns ``ring, crank_deg, hip_deg_s, knee_deg_s, ankle_deg_s``."""
    figure, panels = new_figure(1, 3, height_mm=60, sharey=True)
    for axes, joint in zip(panels, JOINTS, strict=True):
        axes.axhline(0, color=GREY, linewidth=0.6)
        for ring, curve in speeds.groupby("ring", sort=False):
            look = LOOKS[str(ring)]
            axes.plot(
                curve["crank_deg"],
                curve[f"{joint}_deg_s"],
                color=look.colour,
                linestyle=look.line,
                label=str(ring),
            )
        crank_axis(axes)
        name_panel(axes, joint)
    panels[0].set_ylabel("Joint speed (deg/s)")
    name_crank_axis(figure)
    legend_above(figure, panels[0], "ring")
    return figure


@in_house_style
def joint_moment_panels(ranges: pd.DataFrame) -> Figure:
    """Return one panel a joint; columns ``crank_deg`` and ``hip_Nm_low, hip_Nm_high`` and so on."""
    figure, panels = new_figure(1, 3, height_mm=60, sharey=True)
    for axes, joint in zip(panels, JOINTS, strict=True):
        low, high = ranges[f"{joint}_Nm_low"], ranges[f"{joint}_Nm_high"]
        axes.axhline(0, color=GREY, linewidth=0.6)
        axes.fill_between(ranges["crank_deg"], low, high, color=BLUE, alpha=0.3, linewidth=0)
        for edge in (low, high):
            axes.plot(ranges["crank_deg"], edge, color=BLUE, linewidth=0.8)
        crank_axis(axes)
        name_panel(axes, joint)
    panels[0].set_ylabel("Joint moment (N·m)")
    name_crank_axis(figure)
    return figure


@in_house_style
def joint_share_bands(rows: pd.DataFrame) -> Figure:
    """Return a range chart of shares of work, first row on top.

    Columns ``label, published_low, published_high, spread, light_push, heavy_push, least_moments``.
    """
    figure, (axes,) = new_figure(height_mm=18 + 7 * len(rows))
    place = np.arange(len(rows))[::-1]
    ends = rows[["light_push", "heavy_push", "least_moments"]]
    low = ends.min(axis=1)
    axes.barh(place, ends.max(axis=1) - low, left=low, height=0.6, color=BLUE, alpha=0.3, label="predicted")
    axes.plot(rows["least_moments"], place, "o", color=BLUE, fillstyle="none", label="least joint moments")
    for side in ("published_low", "published_high"):
        label = "published" if side == "published_low" else None
        axes.errorbar(
            rows[side], place, xerr=rows["spread"].fillna(0), fmt="o", color=INK, capsize=2, label=label
        )
    axes.hlines(place, rows["published_low"], rows["published_high"], color=INK)
    axes.axvline(0, color=GREY, linewidth=0.7)
    axes.set_yticks(place, rows["label"])
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.set_xlabel("Share of work (%)")
    figure.legend(loc="outside upper right", ncols=3)
    return figure


@in_house_style
def joint_shift_panels(bands: pd.DataFrame) -> Figure:
    """Return one panel a power: shift of hip and knee share against cadence, each a band over the radial forces.

    Columns ``power_W, cadence_rpm, hip_points_low, hip_points_high, knee_points_low, knee_points_high``.
    """
    powers = list(bands.groupby("power_W"))
    figure, panels = new_figure(1, len(powers), height_mm=60, sharey=True)
    for axes, (power, rows) in zip(panels, powers, strict=True):
        axes.axhline(0, color=GREY, linewidth=0.6)
        for joint, colour, mark in (("hip", BLUE, "o"), ("knee", VERMILLION, "s")):
            low, high = rows[f"{joint}_points_low"], rows[f"{joint}_points_high"]
            axes.fill_between(rows["cadence_rpm"], low, high, color=colour, alpha=0.25, linewidth=0)
            axes.plot(rows["cadence_rpm"], (low + high) / 2, color=colour, marker=mark, label=joint)
        axes.set_xticks(rows["cadence_rpm"])
        name_panel(axes, f"{power:.0f} W")
        axes.set_xlabel("Cadence (rpm)")
    panels[0].set_ylabel("Shift of share (points)")
    legend_above(figure, panels[0])
    return figure


@in_house_style
def joint_load_panels(loads: pd.DataFrame) -> Figure:
    """Return moments above powers, one column a joint, one line a ring; columns of `JointLoads.to_frame` and ``ring``."""
    figure, panels = new_figure(2, len(JOINTS), height_mm=105, sharey="row")
    for row, (suffix, label) in enumerate((("Nm", "Joint moment (N·m)"), ("W", "Joint power (W)"))):
        for axes, joint in zip(panels[row * len(JOINTS) :], JOINTS, strict=False):
            axes.axhline(0, color=GREY, linewidth=0.6)
            for ring, curve in loads.groupby("ring", sort=False):
                look = LOOKS[str(ring)]
                style = {"color": look.colour, "linestyle": look.line, "label": str(ring)}
                axes.plot(curve["crank_deg"], curve[f"{joint}_{suffix}"], **style)
            crank_axis(axes)
            if row == 0:
                name_panel(axes, joint)
        panels[row * len(JOINTS)].set_ylabel(label)
    name_crank_axis(figure)
    legend_above(figure, panels[0], "ring")
    return figure
