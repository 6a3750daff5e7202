"""Data quality at a glance."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import BLUE, INK, MANY, in_house_style, names_with_room, new_figure

STATE_COLOURS = {"kept": "#cfe3ef", "caution": "#f6d9b8", "not used": "#d9a6a6", "missing": "#ffffff"}
STATE_MARKS = {"kept": ("", "#8a8a8a", 0.5), "caution": ("", INK, 1.4), "not used": ("////", "#8a8a8a", 0.5)}
"""Hatch, colour of the frame and its width in points: what tells states apart in grey print."""

OVERVIEW_COLOURS = {"kept": "#cfe3ef", "caution": "#e0a458", "not used": "#5c1a1a", "missing": "#ffffff"}
"""Tints of the strip of very many riders, which has no room for frames and hatches: apart in lightness too."""
OVERVIEW_MM = 190

DOTS: dict[str, dict[str, Any]] = {
    "used": {"marker": "o", "color": BLUE, "markersize": 3},
    "caution": {"marker": "D", "color": INK, "markerfacecolor": "white", "markersize": 4},
}
"""Trials of these states, the later ones on top: diamonds, larger, white and framed, show among dots in grey print too."""

ALIKE = 0.02
"""Values that differ by less than this share of the largest are all one: a scale of their own would enlarge nothing."""


@in_house_style
def quality_strip(cells: pd.DataFrame, rows: str, columns: list[str]) -> Figure:
    """Return a strip with one cell a trial: kept turns as a number, state as a word-coded tint.

    `cells` has ``column`` (one of `columns`, the headings in order), `rows` (row heading), ``state`` (a key of
    STATE_COLOURS) and ``text``. More than `MANY` rows are drawn thinner, without numbers, and only some are named.
    """
    row_names = list(dict.fromkeys(cells[rows]))
    figure, (axes,) = new_figure(height_mm=16 + 7 * len(row_names) if len(row_names) <= MANY else OVERVIEW_MM)
    draw = _draw_cells if len(row_names) <= MANY else _draw_runs
    places = {name: place for place, name in enumerate(row_names)}
    draw(axes, cells.assign(x=cells["column"].map(columns.index), y=cells[rows].map(places)))
    axes.set_xlim(-0.5, len(columns) - 0.5)
    axes.set_ylim(len(row_names) - 0.5, -0.5)
    axes.set_xticks(np.arange(len(columns)), columns, **_heading_pose(len(columns)))
    axes.set_yticks(*names_with_room(row_names, MANY))
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    return figure


def _draw_cells(axes: Axes, cells: pd.DataFrame) -> None:
    for cell in cells.to_dict("records"):
        axes.add_patch(_cell_patch(cell["x"], cell["y"], cell["state"]))
        axes.text(cell["x"], cell["y"], cell["text"], ha="center", va="center", fontsize=6.5)


def _draw_runs(axes: Axes, cells: pd.DataFrame) -> None:
    """Draw neighbours of one state as one block: light used, middle used with caution, dark not used."""
    for _, column in cells.sort_values("y").groupby("x"):
        parted = (column["state"] != column["state"].shift()) | (column["y"].diff() != 1)
        for _, run in column.groupby(parted.cumsum()):
            colour = OVERVIEW_COLOURS.get(run["state"].iloc[0], INK)
            axes.bar(
                run["x"].iloc[0], len(run), 0.9, bottom=run["y"].iloc[0] - 0.5, color=colour, linewidth=0
            )


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
    places = trials["rider"].map({rider: place for place, rider in enumerate(riders)})
    rows = (len(measures) + 1) // 2
    figure, panels = new_figure(rows, 2, height_mm=42 * rows)
    for axes, (name, label) in zip(panels, measures.items(), strict=False):
        for state, look in DOTS.items():
            here = trials["state"] == state
            axes.plot(places[here], trials.loc[here, name], linestyle="none", **look)
        _begin_at_zero_if_alike(axes, trials[name])
        axes.set_ylabel(label)
        axes.set_xticks(*names_with_room(riders, 24), rotation=60)
    for spare in panels[len(measures) :]:
        spare.set_visible(False)
    return figure


def _begin_at_zero_if_alike(axes: Axes, values: pd.Series) -> None:
    """Let the scale of values that are all but equal begin at zero."""
    low, high = float(values.min()), float(values.max())
    if high > 0 and high - low < ALIKE * high:
        axes.set_ylim(0, 1.3 * high)
