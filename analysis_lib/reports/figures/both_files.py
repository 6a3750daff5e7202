"""A figure's SVG and PNG drawn in one walk over its artists: most of the time goes into what both have in common.

Everything is placed and every word is measured in points, as for the SVG; the picture takes the same strokes, enlarged.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.backends.backend_mixed import MixedModeRenderer
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Bbox, Transform, TransformedPath
from PIL import Image

from analysis_lib.reports.figures.measuring import Measuring

SVG_METADATA = {"Date": None, "Creator": None}
SVG_DPI, PNG_DPI = 72, 150

PNG_EFFORT = 3
"""Of 9: a hundredth more to store than with the usual 6, for two thirds of the time."""

ENLARGED = Affine2D().scale(PNG_DPI / SVG_DPI)
"""From points to the picture's dots."""


def draw_svg(figure: Figure) -> bytes:
    """Return a figure as SVG; the same figure gives the same bytes."""
    return _walk(figure, picture=None)


def draw_both(figure: Figure) -> tuple[bytes, bytes]:
    """Return a figure as the same SVG and as PNG at 150 dots an inch."""
    width, height = figure.get_size_inches() * PNG_DPI
    picture = RendererAgg(width, height, PNG_DPI)
    svg, buffer = _walk(figure, picture), io.BytesIO()
    image = Image.fromarray(np.asarray(picture.buffer_rgba())).convert("RGB")  # nothing shines through
    image.save(buffer, "png", dpi=(PNG_DPI, PNG_DPI), compress_level=PNG_EFFORT)
    return svg, buffer.getvalue()


def _walk(figure: Figure, picture: RendererAgg | None) -> bytes:
    figure.dpi = SVG_DPI
    width, height = figure.get_size_inches()
    written = io.StringIO()
    drawing = RendererSVG(
        width * SVG_DPI, height * SVG_DPI, written, image_dpi=PNG_DPI, metadata=SVG_METADATA
    )
    both = BothFiles(drawing, picture)
    if layout := figure.get_layout_engine():
        layout.execute(figure)
        figure.set_layout_engine(None)  # with one, even one that does nothing, matplotlib draws twice
    renderer = MixedModeRenderer(figure, width, height, PNG_DPI, both)
    figure.draw(renderer)  # type: ignore[arg-type]  # it hands on what it does not do itself
    renderer.finalize()
    return written.getvalue().encode("utf-8")


class BothFiles(Measuring):
    """Hands every stroke to the drawing and, where there is one, to the picture."""

    def __init__(self, drawing: RendererSVG, picture: RendererAgg | None):
        super().__init__()
        self._drawing, self._picture = drawing, picture
        self.open_group, self.close_group = drawing.open_group, drawing.close_group  # type: ignore[method-assign]
        self.finalize = drawing.finalize

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Return the size in points."""
        return self._drawing.get_canvas_width_height()

    def get_image_magnification(self) -> float:
        """Return how many dots of an image make a point."""
        return self._drawing.get_image_magnification()

    def draw_path(
        self, gc: GraphicsContextBase, path: Path, transform: Transform, rgbFace: Any = None
    ) -> None:
        """Draw one path in both."""
        self._drawing.draw_path(gc, path, transform, rgbFace)
        if self._picture:
            self._picture.draw_path(self._enlarged(gc), path, transform + ENLARGED, rgbFace)

    def draw_markers(
        self,
        gc: GraphicsContextBase,
        marker_path: Path,
        marker_trans: Transform,
        path: Path,
        trans: Transform,
        rgbFace: Any = None,
    ) -> None:
        """Draw one marker at many places in both."""
        self._drawing.draw_markers(gc, marker_path, marker_trans, path, trans, rgbFace)
        if self._picture:
            enlarged = self._enlarged(gc)
            self._picture.draw_markers(
                enlarged, marker_path, marker_trans + ENLARGED, path, trans + ENLARGED, rgbFace
            )

    def draw_path_collection(
        self,
        gc: GraphicsContextBase,
        master_transform: Transform,
        paths: Sequence[Path],
        all_transforms: Any,
        offsets: Any,
        offset_trans: Transform,
        *looks: Any,
        **more: Any,
    ) -> None:
        """Draw many paths in both."""
        self._drawing.draw_path_collection(
            gc, master_transform, paths, all_transforms, offsets, offset_trans, *looks, **more
        )
        if self._picture:
            master, offset = master_transform + ENLARGED, offset_trans + ENLARGED
            self._picture.draw_path_collection(
                self._enlarged(gc), master, paths, all_transforms, offsets, offset, *looks, **more
            )

    def draw_image(self, gc: GraphicsContextBase, x: float, y: float, im: Any, transform: Any = None) -> None:
        """Draw what is made of dots, which are the picture's own: it is not enlarged."""
        self._drawing.draw_image(gc, x, y, im, transform)
        if self._picture:
            x, y = ENLARGED.transform((x, y))
            self._picture.draw_image(self._enlarged(gc), x, y, im)

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        """Set one line in both."""
        self._drawing.draw_text(gc, x, y, s, prop, angle, ismath, mtext)
        if self._picture:
            x, y = ENLARGED.transform((x, y))
            self._picture.draw_text(self._enlarged(gc), x, y, s, prop, angle, ismath, mtext)

    def _enlarged(self, gc: GraphicsContextBase) -> GraphicsContextBase:
        """Widths are in points for both; where a stroke is cut off is in dots."""
        box, (path, transform) = gc.get_clip_rectangle(), gc.get_clip_path()
        if box is None and path is None:
            return gc
        enlarged = self.new_gc()
        enlarged.copy_properties(gc)
        if box is not None:
            enlarged.set_clip_rectangle(Bbox(box.get_points() * (PNG_DPI / SVG_DPI)))
        if path is not None and transform is not None:
            enlarged.set_clip_path(TransformedPath(path, transform + ENLARGED))  # type: ignore[arg-type]  # a path, despite its stub
        return enlarged
