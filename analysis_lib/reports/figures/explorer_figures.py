"""Arm, speed, torque, meter error and joint motion at once, redrawn in place while sliders move."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from PIL import Image

from analysis_lib.reports.figures.style import (
    GREY,
    LOOKS,
    MM,
    TWO_COLUMNS,
    crank_axis,
    in_house_style,
    name_panel,
)

SCREEN_DPI = 110
ERROR = "error_pct"

PANELS = {
    "arm_mm": ("Lever arm (mm)", "lever arm"),
    "speed_rpm": ("Crank speed (rpm)", "crank speed"),
    "torque_Nm": ("Torque (N·m)", "torque; thin: same joints"),
    "hip_deg_s": ("Joint speed (deg/s)", "hip; thin: ankle, toes down +"),
    "knee_deg_s": ("Joint speed (deg/s)", "knee, negative: extending"),
}
THIN = {"torque_Nm": "torque_joints_Nm", "hip_deg_s": "ankle_deg_s"}
"""Column drawn thin in the panel of another, for the oval ring."""


class ExplorerFigure:
    """Six panels whose lines are moved, not drawn anew.

    Axes, ticks and words take most of the time of a picture, so they are kept as a background until the numbers
    leave the limits. Limits only grow, so that the eye can compare one choice with the next.
    """

    @in_house_style
    def __init__(self, sectors: list[int]):
        self.figure = Figure(figsize=(TWO_COLUMNS, 104 * MM), dpi=SCREEN_DPI)
        self._canvas = FigureCanvasAgg(self.figure)
        panels = list(self.figure.subplots(2, 3).ravel())
        self.figure.subplots_adjust(left=0.085, right=0.985, bottom=0.1, top=0.94, wspace=0.32, hspace=0.5)
        self._lines: dict[tuple[str, str], tuple[Axes, Line2D]] = {}
        for axes, column in zip(panels, PANELS, strict=False):
            self._prepare(axes, column)
        self._prepare_errors(panels[-1], sectors)
        self._limits: dict[Axes, tuple[float, float]] = {}
        self._background: Any = None

    def _prepare(self, axes: Axes, column: str) -> None:
        label, name = PANELS[column]
        for ring, look in LOOKS.items():
            self._add(axes, ring, column, color=look.colour, linestyle=look.line)
        if thin := THIN.get(column):
            oval = LOOKS["oval"]
            self._add(axes, "oval", thin, color=oval.colour, linestyle=oval.line, linewidth=0.6)
        crank_axis(axes)
        axes.set_xlabel("Right-crank angle (deg)")
        axes.set_ylabel(label)
        name_panel(axes, name)

    def _prepare_errors(self, axes: Axes, sectors: list[int]) -> None:
        axes.axhline(0, color=GREY, linewidth=0.6)
        for ring, look in LOOKS.items():
            style = {"color": look.colour, "linestyle": look.line, "marker": look.marker}
            self._add(axes, ring, ERROR, **style, label=ring)
        axes.set_xscale("log", base=2)
        axes.set_xlim(sectors[0] / 1.2, sectors[-1] * 1.2)
        axes.set_xticks(sectors, [str(count) for count in sectors])
        axes.minorticks_off()
        axes.set_xlabel("Speed readings a turn")
        axes.set_ylabel("Power error (%)")
        name_panel(axes, "meter error")
        axes.legend(loc="upper right")

    def _add(self, axes: Axes, ring: str, column: str, **style: Any) -> None:
        (line,) = axes.plot([], [], **style)
        self._lines[ring, column] = axes, line

    def show(self, curves: pd.DataFrame, errors: pd.DataFrame) -> Figure:
        """Move the lines to other numbers and return the figure.

        ``curves``: ``ring, crank_deg`` and the columns of the panels; ``errors``: ``ring, sectors, error_pct``.
        """
        for (ring, column), (axes, line) in self._lines.items():
            source, angle = (errors, "sectors") if column == ERROR else (curves, "crank_deg")
            here = source[source["ring"] == ring]
            line.set_data(here[angle], here[column])
            self._widen(axes, here[column].to_numpy())
        return self.figure

    def _widen(self, axes: Axes, values: np.ndarray) -> None:
        low, high = self._limits.get(axes, (np.inf, -np.inf))
        if values.min() >= low and values.max() <= high:
            return
        margin = 0.25 * max(float(np.ptp(values)), 0.02 * float(np.abs(values).max()), 0.1)
        self._limits[axes] = min(low, values.min() - margin), max(high, values.max() + margin)
        axes.set_ylim(*self._limits[axes])
        self._background = None

    @in_house_style
    def png(self) -> bytes:
        """Return the figure as it stands, as PNG."""
        if self._background is None:
            self._background = self._without_lines()
        self._canvas.restore_region(self._background)
        for axes, line in self._lines.values():
            axes.draw_artist(line)
        buffer = io.BytesIO()
        Image.fromarray(np.asarray(self._canvas.buffer_rgba())).save(buffer, "png", compress_level=1)
        return buffer.getvalue()

    def _without_lines(self) -> Any:
        """Draw all but the lines, which alone move with a slider."""
        for _, line in self._lines.values():
            line.set_visible(False)
        self._canvas.draw()
        for _, line in self._lines.values():
            line.set_visible(True)
        return self._canvas.copy_from_bbox(self.figure.bbox)
