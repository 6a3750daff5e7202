"""Data quality at a glance."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import BLUE, INK, in_house_style, new_figure

STATE_COLOURS = {"kept": "#cfe3ef", "caution": "#f6d9b8", "not used": "#d9a6a6", "missing": "#ffffff"}
STATE_MARKS = {"kept": ("", "#8a8a8a", 0.5), "caution": ("", INK, 1.4), "not used": ("////", "#8a8a8a", 0.5)}
"""Hatch, colour of the frame and its width in points: what tells states apart in grey print."""


@in_house_style
def quality_strip(cells: pd.DataFrame, rows: str, columns: list[str]) -> Figure:
    """Return a strip with one cell a trial: kept turns as a number, state as a word-coded tint.

    `cells` has ``column`` (one of `columns`, the headings in order), `rows` (row heading), ``state`` (a key of
    STATE_COLOURS) and ``text``.
    """
    row_names = list(dict.fromkeys(cells[rows]))
    figure, (axes,) = new_figure(height_mm=16 + 7 * len(row_names))
    for cell in cells.to_dict("records"):
        x, y = columns.index(cell["column"]), row_names.index(cell[rows])
        axes.add_patch(_cell_patch(x, y, cell["state"]))
        axes.text(x, y, cell["text"], ha="center", va="center", fontsize=6.5)
    axes.set_xlim(-0.5, len(columns) - 0.5)
    axes.set_ylim(len(row_names) - 0.5, -0.5)
    axes.set_xticks(np.arange(len(columns)), columns, **_heading_pose(len(columns)))
    axes.set_yticks(np.arange(len(row_names)), row_names)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    return figure


def _cell_patch(x: int, y: int, state: str):
    from matplotlib.patches import Rectangle

    hatch, frame, width = STATE_MARKS.get(state, ("....", "#8a8a8a", 0.5))
    return Rectangle(
        (x - 0.48, y - 0.46),
        0.96,
        0.92,
        facecolor=STATE_COLOURS[state],
        edgecolor=frame,
        linewidth=width,
        hatch=hatch,
    )


def _heading_pose(columns: int) -> dict:
    """Many headings are slanted, few stand upright."""
    return {"rotation": 40, "ha": "right"} if columns > 6 else {}


@in_house_style
def measure_panels(trials: pd.DataFrame, measures: dict[str, str]) -> Figure:
    """Return one panel a measure with a dot a trial; columns ``rider, state`` and the keys of `measures`."""
    riders = list(dict.fromkeys(trials["rider"]))
    rows = (len(measures) + 1) // 2
    figure, panels = new_figure(rows, 2, height_mm=42 * rows)
    for axes, (name, label) in zip(panels, measures.items(), strict=False):
        for state, fill in (("used", BLUE), ("caution", "none")):
            here = trials[trials["state"] == state]
            places = [riders.index(rider) for rider in here["rider"]]
            axes.plot(places, here[name], "o", color=BLUE, markerfacecolor=fill, markersize=3)
        axes.set_ylabel(label)
        axes.set_xticks(range(len(riders)), riders, rotation=60)
    for spare in panels[len(measures) :]:
        spare.set_visible(False)
    return figure
