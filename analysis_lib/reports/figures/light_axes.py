"""Axes whose ticks are one stroke of markers and plain words: nothing is made for ticks that are never shown.

matplotlib makes eight artists for each tick and measures them again and again; of its time for a figure that is half.
These axes have ticks below and to the left, no minor ticks and no grid.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, ClassVar

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.lines import Line2D
from matplotlib.markers import TICKDOWN, TICKLEFT
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter, FixedLocator
from matplotlib.transforms import Bbox, IdentityTransform, Transform

NEAR = 1e-10
"""Share of the shown stretch by which a tick may lie outside it and still be drawn, as in matplotlib."""

RC_PARAMS: Any = mpl.rcParams


class _Ticks:
    """What both directions share; ``along`` is the coordinate that ticks differ in, 0 for x and 1 for y."""

    axes: Axes
    along: int
    mark: int
    kind: str
    side: str
    _pose: Mapping[str, Any] = MappingProxyType({})
    _known: ClassVar[dict[tuple, np.ndarray]] = {}

    def reset_ticks(self) -> None:
        """Hold no tick of matplotlib's, not even the first."""
        self.majorTicks: list = []
        self.minorTicks: list = []

    def get_children(self) -> list:
        """Return what stands beside the ticks, none of which is an artist of its own."""
        return [self.label, self.offsetText]  # type: ignore[attr-defined]

    def set_ticks(self: Any, ticks: Any, labels: Any = None, *, minor: bool = False, **pose: Any) -> list:
        """Set places and words of the ticks; limits that were not set reach as far, as in matplotlib."""
        places = np.asarray(self.convert_units(ticks), dtype=float)
        if len(places):
            for axes in self._siblings():
                (axes.xaxis, axes.yaxis)[self.along].set_view_interval(places.min(), places.max())
        self.set_major_locator(FixedLocator(list(places)))
        if labels is not None:
            self.set_major_formatter(FixedFormatter([str(label) for label in labels]))
            self._pose = pose
        return []

    def _siblings(self) -> Sequence[Axes]:
        axes = self.axes
        return (axes.get_shared_x_axes, axes.get_shared_y_axes)[self.along]().get_siblings(axes)

    def get_majorticklabels(self) -> list[Text]:
        """Return the words at the ticks, as they are drawn."""
        _, style = self._style()
        return [Text(x=x, y=y, text=word, **style) for (x, y), word in zip(*self._shown(), strict=True)]

    def _length(self: Any) -> float:
        length = self.get_tick_params().get("length", RC_PARAMS[f"{self.kind}.major.size"])
        return float(length) if self._has("") else 0.0

    def _has(self: Any, what: str) -> bool:
        """Whether ticks, or with "label" their words, are shown."""
        return bool(self.get_tick_params().get(what + self.side, True))

    def _style(self: Any) -> tuple[Transform, dict[str, Any]]:
        """Where words stand, and how."""
        params = self.get_tick_params()
        pad = self._length() + params.get("pad", RC_PARAMS[f"{self.kind}.major.pad"])
        place = (self.axes.get_xaxis_text1_transform, self.axes.get_yaxis_text1_transform)[self.along]
        transform, upright, across = place(pad)
        size = params.get("labelsize", RC_PARAMS[f"{self.kind}.labelsize"])
        style = {"fontsize": size, "va": upright, "ha": across, **self._pose}
        return transform, {"transform": transform, "figure": self.axes.get_figure(), **style}

    def _shown(self: Any) -> tuple[np.ndarray, list[str]]:
        """Places, as rows of x and y, and words of the ticks within the limits."""
        places = np.asarray(self.get_majorticklocs(), dtype=float)
        if not len(places):
            return np.zeros((0, 2)), []
        words = self.get_major_formatter().format_ticks(places)
        ends = np.sort(self.get_transform().transform(self.get_view_interval()))
        seen = self.get_transform().transform(places)
        slack = NEAR * (ends[1] - ends[0])
        inside = (ends[0] - slack <= seen) & (seen <= ends[1] + slack)
        kept = np.zeros((inside.sum(), 2))
        kept[:, self.along] = places[inside]
        return kept, [word for word, within in zip(words, inside, strict=True) if within]

    def _place(self: Any, renderer: RendererBase) -> tuple[np.ndarray, list[str], Bbox]:
        """Place label and offset beside the words; return places, words and what these take, in dots."""
        places, words = self._shown()
        dots = self.axes.get_figure().dpi / 72
        taken, lettered = self._edge(self._length() * dots), self._has("label")
        if lettered and words:
            corners = self._corners(places, words, renderer)
            taken = Bbox.union([taken, Bbox([corners[:, 0].min(axis=0), corners[:, 1].max(axis=0)])])
        self._put_label(taken, dots)
        self.offsetText.set_text(self.get_major_formatter().get_offset())
        return places, words if lettered else [], taken

    def _corners(self: Any, places: np.ndarray, words: list[str], renderer: RendererBase) -> np.ndarray:
        """Lower left and upper right corner of each word.

        What a word takes is measured once for all figures, but for a picture drawn by itself, which rounds to its dots.
        """
        transform, style = self._style()
        letter = Text(**style | {"transform": IdentityTransform()})
        known = {} if isinstance(renderer, RendererAgg) else _Ticks._known
        pose = (repr(style["fontsize"]), style["va"], style["ha"], *sorted(self._pose.items()))
        keys = [(word, *RC_PARAMS["font.family"], *pose) for word in words]
        for word, key in zip(words, keys, strict=True):
            if key not in known:
                letter.set_text(word)
                known[key] = letter.get_window_extent(renderer).get_points()
        return np.array([known[key] for key in keys]) + transform.transform(places)[:, np.newaxis]

    def get_tightbbox(
        self: Any, renderer: RendererBase | None = None, *, for_layout_only: bool = False
    ) -> Bbox | None:
        """Return what words and label take, in dots; the label's length counts only where asked for."""
        if not self.get_visible():
            return None
        _, _, taken = self._place(renderer)
        boxes = [taken]
        if self.offsetText.get_text():
            boxes.append(self.offsetText.get_window_extent(renderer))
        if self.label.get_text():
            box = self.label.get_window_extent(renderer)
            if for_layout_only:
                points = box.get_points()
                points[:, self.along] = points[:, self.along].mean()
                box = Bbox(points)
            boxes.append(box)
        return Bbox.union(boxes)

    def draw(self: Any, renderer: RendererBase) -> None:
        """Draw ticks, words and label."""
        if not self.get_visible():
            return
        renderer.open_group(self.__name__, self.get_gid())
        places, words, _ = self._place(renderer)
        self._draw_marks(places, renderer)
        if words:
            letter = Text(**self._style()[1])
            for place, word in zip(places, words, strict=True):
                letter.set_position(place)
                letter.set_text(word)
                letter.draw(renderer)
        self.label.draw(renderer)
        self.offsetText.draw(renderer)
        renderer.close_group(self.__name__)
        self.stale = False

    def _draw_marks(self: Any, places: np.ndarray, renderer: RendererBase) -> None:
        length = self._length()
        if not length or not len(places):
            return
        marks = Line2D(
            *places.T,
            linestyle="none",
            marker=self.mark,
            color=RC_PARAMS[f"{self.kind}.color"],
            markersize=length,
            markeredgewidth=RC_PARAMS[f"{self.kind}.major.width"],
            transform=(self.axes.get_xaxis_transform, self.axes.get_yaxis_transform)[self.along]("tick1"),
            figure=self.axes.get_figure(),
        )
        marks.draw(renderer)


class LightX(_Ticks, XAxis):  # type: ignore[misc]
    """Ticks below the panel."""

    along, mark, kind, side = 0, TICKDOWN, "xtick", "bottom"

    def _edge(self, length: float) -> Bbox:
        box = self.axes.bbox
        return Bbox.from_extents(box.x0, box.y0 - length, box.x1, box.y0)

    def _put_label(self, taken: Bbox, dots: float) -> None:
        self.label.set_y(taken.y0 - self.labelpad * dots)
        self.offsetText.set_y(taken.y0 - self.OFFSETTEXTPAD * dots)


class LightY(_Ticks, YAxis):  # type: ignore[misc]
    """Ticks to the left of the panel."""

    along, mark, kind, side = 1, TICKLEFT, "ytick", "left"

    def _edge(self, length: float) -> Bbox:
        box = self.axes.bbox
        return Bbox.from_extents(box.x0 - length, box.y0, box.x0, box.y1)

    def _put_label(self, taken: Bbox, dots: float) -> None:
        self.label.set_x(taken.x0 - self.labelpad * dots)
        self.offsetText.set_y(self.axes.bbox.y1 + self.OFFSETTEXTPAD * dots)


class LightAxes(Axes):
    """Panels with such axes."""

    def _init_axis(self) -> None:
        """Give the panel its axes: matplotlib's own place for others than its own, as its polar panels use it."""
        self.xaxis: LightX = LightX(self, clear=False)
        self.yaxis: LightY = LightY(self, clear=False)
        for side, axis in (
            ("bottom", self.xaxis),
            ("top", self.xaxis),
            ("left", self.yaxis),
            ("right", self.yaxis),
        ):
            self.spines[side].register_axis(axis)
