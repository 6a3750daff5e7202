"""Where panels stand: what words need around each is measured, and the rest of the figure is theirs.

The rules are those of matplotlib's constrained layout – all columns are equally wide but for declared ratios, and rows
equally high – without its solver, which one grid does not need.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import LayoutEngine
from matplotlib.text import Annotation
from matplotlib.transforms import Affine2D, Bbox, BboxBase

from analysis_lib.reports.figures.light_axes import LightAxes
from analysis_lib.reports.figures.measuring import Measuring

PAD = 3.0
"""Points around each panel with its words."""

PASSES = 2
"""Words at ticks may change with the size of a panel, and a round panel's size with its margins."""

MOST = 0.8
"""Share of the figure that words may take from the panels; longer ones are cut off at its edge."""

RENDERER = Measuring()


class HouseLayout(LayoutEngine):
    """Places the panels of one grid, a legend above them and the figure's words below and to the left of them."""

    _adjust_compatible = False
    _colorbar_gridspec = False

    def execute(self, fig: Figure) -> None:
        """Place everything, with dots that are points."""
        dpi, fig.dpi = fig.dpi, 72
        panels = [axes for axes in fig.axes if axes.get_subplotspec() is not None]
        frame = _frame(fig)
        for _ in range(PASSES if panels else 0):
            _place_once(panels, frame, fig.bbox)
        fig.dpi = dpi


def _frame(figure: Figure) -> Bbox:
    """Return what legends and the figure's own words leave to the panels, in points."""
    left = bottom = top = 0.0
    for words in figure.texts:
        x, y = words.get_position()
        if words.get_rotation():
            words.set_position((PAD / figure.bbox.width, y))
            left = max(left, words.get_window_extent(RENDERER).width + 2 * PAD)
        else:
            words.set_position((x, PAD / figure.bbox.height))
            bottom = max(bottom, words.get_window_extent(RENDERER).height + 2 * PAD)
    for legend in figure.legends:
        top = max(top, legend.get_window_extent(RENDERER).height + 2 * PAD)
    return Bbox.from_extents(left, bottom, figure.bbox.width, figure.bbox.height - top)


def _place_once(panels: list[Axes], frame: Bbox, whole: BboxBase) -> None:
    specs: list[Any] = [axes.get_subplotspec() for axes in panels]
    grid = specs[0].get_gridspec()
    beside, above = np.zeros((2, grid.ncols)), np.zeros((2, grid.nrows))
    for axes, spec in zip(panels, specs, strict=True):
        left, bottom, right, top = _needs(axes)
        column, row = spec.colspan.start, spec.rowspan.start
        beside[:, column] = np.maximum(beside[:, column], (left, right))
        above[:, row] = np.maximum(above[:, row], (top, bottom))
    across = frame.x0 + _shares(frame.width, beside + PAD, grid.get_width_ratios())
    down = frame.y1 - _shares(frame.height, above + PAD, grid.get_height_ratios())
    for axes, spec in zip(panels, specs, strict=True):
        (left, right), (top, bottom) = across[spec.colspan.start], down[spec.rowspan.start]
        ends = Bbox.from_extents(left, bottom, right, top)
        axes.set_position(ends.transformed(Affine2D().scale(1 / whole.width, 1 / whole.height)))


def _shares(length: float, margins: np.ndarray, ratios: Any) -> np.ndarray:
    """Return begin and end of each column (or row): margins apart, the rest in declared ratios.

    >>> _shares(100.0, np.array([[10.0, 10.0], [5.0, 5.0]]), [1.0, 1.0]).tolist()
    [[10.0, 45.0], [60.0, 95.0]]
    """
    weights = np.ones(margins.shape[1]) if ratios is None else np.asarray(ratios, dtype=float)
    margins = margins * min(1.0, MOST * length / margins.sum())
    sizes = (length - margins.sum()) * weights / weights.sum()
    ends = np.cumsum(margins.sum(axis=0) + sizes) - margins[1]
    return np.column_stack([ends - sizes, ends])


def _needs(axes: Any) -> np.ndarray:
    """Return how far words reach beyond a panel: left, bottom, right and top, in points."""
    if not axes.get_visible():
        return np.zeros(4)
    inner = axes.get_position(original=True).transformed(axes.get_figure().transFigure)
    light = isinstance(axes, LightAxes)
    outer = _around(axes) if light else axes.get_tightbbox(RENDERER, for_layout_only=True)
    beyond = np.array([inner.x0 - outer.x0, inner.y0 - outer.y0, outer.x1 - inner.x1, outer.y1 - inner.y1])
    return np.maximum(beyond, 0.0)


def _around(axes: LightAxes) -> Bbox:
    """Return a panel with the words of its axes and its name; everything else stands in it."""
    axes.apply_aspect()
    boxes: list[Any] = [axes.bbox]
    if axes.axison:
        boxes += [axis.get_tightbbox(RENDERER, for_layout_only=True) for axis in (axes.xaxis, axes.yaxis)]
    for words in axes.texts:
        if isinstance(words, Annotation) and words.xycoords == "axes fraction":
            boxes.append(words.get_window_extent(RENDERER))
    return Bbox.union([box for box in boxes if box is not None])
