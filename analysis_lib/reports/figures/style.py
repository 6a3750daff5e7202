"""The house style of figures: sizes, type, and how ring and intensity are told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from analysis_lib.reports.figures.both_files import SVG_DPI
from analysis_lib.reports.figures.layout import HouseLayout
from analysis_lib.reports.figures.light_axes import LightAxes
from analysis_lib.reports.figures.measuring import measure

MM = 1 / 25.4
ONE_COLUMN, TWO_COLUMNS = 89 * MM, 183 * MM
"""Widths in inches: one and two columns of a journal page (common practice, no source)."""

BLUE, VERMILLION, GREEN, GREY, INK = "#0072B2", "#D55E00", "#009E73", "#6b6b6b", "#1a1a1a"
"""From the general colour-blind-safe palette of Okabe & Ito (2008); grey and ink added."""

FONT = "DejaVu Sans"
"""The figures' own font; `other_scripts` adds others where a study's words need them."""

RC: dict[Any, Any] = {
    "font.family": [FONT],
    "font.size": 7.5,
    "axes.labelsize": 7.5,
    "axes.titlesize": 8,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "legend.fontsize": 7,
    "legend.frameon": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "lines.linewidth": 1.3,
    "lines.markersize": 4,
    "axes.formatter.use_locale": False,  # a point in every number, as in the tables
    "text.parse_math": False,  # a dollar sign in a study's own words is a dollar sign
    "text.hinting": "no_hinting",  # letters of the PNG are as wide as those of the SVG
    "svg.hashsalt": "roundoval",
    "svg.fonttype": "path",
    "axes.titley": 1.0,  # not moved for words at ticks, which would be measured for it
}


MANY = 60
"""Rows beyond which a figure of one row a rider grows no taller, and names none or only some of them."""

MARGIN = 0.05
"""Share of the common height of several panels that what is drawn keeps from their edges."""

SIDE_ROOM = 34.0
"""Points beside a panel for its ticks and their words, which its name has not."""

ROOM_FOR_LABEL = 0.85
"""Share of a panel's height with its words that the label of its vertical axis may take, which stands in its middle."""

in_house_style = mpl.rc_context(RC)
"""Decorates every function that makes a figure."""


@dataclass(frozen=True)
class RingLook:
    """How one ring is drawn everywhere: colour and line style and marker, so that grey print still tells."""

    colour: str
    line: Any  # matplotlib's: a word, or (offset, (on, off, ...))
    marker: str


LOOKS = {"round": RingLook(BLUE, "-", "o"), "oval": RingLook(VERMILLION, "--", "s")}

FURTHER_LOOKS = (
    LOOKS["oval"],
    RingLook(GREEN, "-.", "^"),
    RingLook("#CC79A7", ":", "D"),
    RingLook("#E69F00", (0, (5, 1)), "v"),
    RingLook("#56B4E9", (0, (3, 1, 1, 1)), "P"),
    RingLook(INK, (0, (1, 1)), "X"),
)


def ring_looks(rings: Sequence[str]) -> dict[str, RingLook]:
    """Give each ring its look: round as everywhere, the others in their order; the looks begin again after six."""
    others = [ring for ring in rings if ring != "round"]
    return {"round": LOOKS["round"]} | {
        ring: FURTHER_LOOKS[place % len(FURTHER_LOOKS)] for place, ring in enumerate(others)
    }


def new_figure(rows: int = 1, columns: int = 1, height_mm: float = 62, width: float = TWO_COLUMNS, **options):
    """Return (figure, list of axes) in house style, outside any global figure list.

    ``options`` go to ``Figure.subplots`` (``sharey``, ``subplot_kw``, ``width_ratios`` ...).
    """
    figure = Figure(figsize=(width, height_mm * MM), dpi=SVG_DPI, layout=HouseLayout())
    kind = options.pop("subplot_kw", {"axes_class": LightAxes})
    axes = figure.subplots(rows, columns, squeeze=False, subplot_kw=kind, **options)
    return figure, list(axes.ravel())


def even_grid(count: int, most: int = 3) -> tuple[int, int]:
    """Return rows and columns for so many panels, up to `most` a row, that leave the fewest places empty.

    >>> even_grid(4), even_grid(5), even_grid(6)
    ((2, 2), (2, 3), (2, 3))
    """
    rows = -(-count // most)
    return rows, -(-count // rows)


def names_with_room(names: Sequence[str], room: int) -> tuple[list[int], list[str]]:
    """Return the places and names of as many of `names` as there is room for, evenly apart, the first among them.

    >>> names_with_room(["R01", "R02", "R03", "R04", "R05"], 3)
    ([0, 2, 4], ['R01', 'R03', 'R05'])
    """
    apart = max(1, -(-len(names) // room))
    return list(range(0, len(names), apart)), list(names[::apart])


def crank_axis(axes: Axes) -> None:
    """Make the horizontal axis one turn of the crank in degrees; `name_crank_axis` labels all panels at once."""
    axes.set_xlim(0, 360)
    axes.set_xticks([0, 90, 180, 270, 360])


def name_crank_axis(figure: Figure) -> None:
    """Label the crank axis once for all panels of a figure."""
    figure.supxlabel("Right-crank angle from top dead centre (deg)", fontsize=RC["axes.labelsize"])


def legend_above(figure: Figure, axes: Axes, title: str = "") -> None:
    """Put one legend for all panels above them, where it covers no data."""
    handles, labels = axes.get_legend_handles_labels()
    words = [f"{title} {label}".strip() for label in labels]
    figure.legend(handles, words, loc="outside upper right", ncols=len(words))


def in_lines(words: str, room: float, size: float, weight: str = "normal") -> str:
    """Break words that are longer than `room` points into lines that are not, but for single words that long."""
    return _broken(words, room, size, weight, tuple(mpl.rcParams["font.family"]))


@lru_cache(1024)  # pages name the same few panels again and again
def _broken(words: str, room: float, size: float, weight: str, family: tuple[str, ...]) -> str:
    letters, lines = FontProperties(family=list(family), size=size, weight=weight), [""]
    if measure(words, letters, False)[0] <= room:
        return words
    for word in words.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if lines[-1] and measure(longer, letters, False)[0] > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return "\n".join(lines)


def _share_of_figure(axes: Axes) -> tuple[float, float]:
    """Return width and height in points that a panel has with its words."""
    grid = axes.get_subplotspec().get_gridspec()  # type: ignore[union-attr]  # every panel stands in one
    width, height = 72 * axes.get_figure().get_size_inches()  # type: ignore[union-attr]
    return width / grid.ncols, height / grid.nrows


def name_panel(axes: Axes, words: object) -> None:
    """Name a panel above its upper left corner."""
    room = _share_of_figure(axes)[0] - SIDE_ROOM
    name = in_lines(str(words), room, RC["font.size"], "bold")
    axes.annotate(name, (0, 1.02), xycoords="axes fraction", va="bottom", ha="left", fontweight="bold")


def label_values(axes: Axes, words: str) -> None:
    """Label the vertical axis, on several lines where the words are longer than the panel is high."""
    room = ROOM_FOR_LABEL * _share_of_figure(axes)[1]
    axes.set_ylabel(in_lines(words, room, size=RC["axes.labelsize"]))


def share_limits(panels: Sequence[Axes]) -> None:
    """Give all panels the same vertical limits, so that rings and riders can be compared by eye.

    What is drawn keeps a twentieth of the common height from the edges: a panel's own margin is too small for markers
    once other panels stretch the scale.
    """
    lows, highs = zip(*(panel.get_ylim() for panel in panels), strict=True)
    low, high = min(lows), max(highs)
    pad = MARGIN * (high - low)
    free = [panel.dataLim.intervaly for panel in panels if panel.get_autoscaley_on()]
    edges = np.array([edge for edge in free if np.isfinite(edge).all()])
    if len(edges):
        low, high = min(low, edges.min() - pad), max(high, edges.max() + pad)
    for panel in panels:
        panel.set_ylim(low, high)


def share_span(panels: Sequence[Axes]) -> None:
    """Give each panel vertical limits around its own values, of one height, so that equal differences look equal."""
    edges = [panel.get_ylim() for panel in panels]
    half = (0.5 + MARGIN) * max(high - low for low, high in edges)
    for panel, (low, high) in zip(panels, edges, strict=True):
        panel.set_ylim((low + high) / 2 - half, (low + high) / 2 + half)
