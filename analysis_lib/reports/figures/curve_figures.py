"""Mean difference curves around the turn with their simultaneous bands."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    GREY,
    INK,
    ONE_COLUMN,
    RC,
    TWO_COLUMNS,
    crank_axis,
    even_grid,
    in_house_style,
    name_crank_axis,
    name_panel,
    new_figure,
    share_limits,
)


@in_house_style
def curve_difference_panels(
    curves: pd.DataFrame, difference: str = "oval − round", unit: str = "N·m"
) -> Figure:
    """Return one panel a curve, up to three a row; columns ``panel, crank_deg, mean, low, high``."""
    names = list(dict.fromkeys(curves["panel"]))
    rows, across = even_grid(len(names))
    width = TWO_COLUMNS if len(names) > 1 else 1.35 * ONE_COLUMN
    figure, panels = new_figure(rows, across, height_mm=8 + 54 * rows, width=width)
    for axes, name in zip(panels, names, strict=False):
        _draw_band(axes, curves[curves["panel"] == name])
        name_panel(axes, name)
    for axes in panels[len(names) :]:
        axes.set_axis_off()
    share_limits(panels[: len(names)])
    figure.supylabel(f"Torque, {difference} ({unit})", fontsize=RC["axes.labelsize"])
    name_crank_axis(figure)
    return figure


def _draw_band(axes: Axes, curve: pd.DataFrame) -> None:
    axes.axhline(0, color=GREY, linewidth=0.7)
    axes.fill_between(curve["crank_deg"], curve["low"], curve["high"], color=GREY, alpha=0.3, linewidth=0)
    axes.plot(curve["crank_deg"], curve["mean"], color=INK)
    crank_axis(axes)
