"""SVG and PNG of one walk are those that matplotlib draws by itself of the same figure, one after the other."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from analysis_lib.reports.figures.both_files import PNG_DPI, SVG_METADATA, draw_both
from analysis_lib.reports.figures.style import in_house_style


def _lines(axes):
    axes.plot([0, 1, 2], [0, 3, 1], "--", marker="s", linewidth=1.3)


def _areas(axes):
    axes.fill_between([0, 1, 2], [0, 1, 2], [1, 2, 4], alpha=0.3)
    axes.hlines([1, 2], 0, 2)


def _cut_off(axes):
    axes.plot([-5, 5], [-5, 5], linewidth=6)
    axes.set(xlim=(0, 1), ylim=(0, 1))


def _hatched(axes):
    axes.bar([0, 1], [1, 2], hatch="////", edgecolor="black")


def _dots_of_a_picture(axes):
    axes.plot([0, 1, 2], [0, 3, 1], "o", rasterized=True)


@in_house_style
def _figure(draw, **options) -> Figure:
    figure = Figure(figsize=(2, 1.6))  # whole dots: nothing is rounded
    axes = figure.subplots(**options)
    axes.set_xticks([], []), axes.set_yticks([], [])
    draw(axes)
    return figure


def _by_matplotlib(figure: Figure, kind: str, **options) -> bytes:
    file = io.BytesIO()
    figure.savefig(file, format=kind, dpi=PNG_DPI, **options)
    return file.getvalue()


def _dots(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)


KINDS = [
    (draw, options)
    for draw in (_lines, _areas, _cut_off, _hatched, _dots_of_a_picture)
    for options in ({}, {"subplot_kw": {"projection": "polar"}})
]


@in_house_style
@pytest.mark.parametrize(("draw", "options"), KINDS)
def test_both_files_are_as_matplotlib_draws_each(draw, options):
    svg, png = draw_both(_figure(draw, **options))
    assert svg == _by_matplotlib(_figure(draw, **options), "svg", metadata=SVG_METADATA)
    differ = _dots(png) != _dots(_by_matplotlib(_figure(draw, **options), "png"))
    # Of 72 000; a corner half-way between two dots may be rounded to either.
    assert differ.size == 240 * 300 and differ.sum() <= 8


@in_house_style
@pytest.mark.parametrize("rotation", [0, 35, 90])
def test_words_stand_in_both_where_matplotlib_sets_them(rotation):
    """Widths as printed and not rounded to dots: ends of lines may differ by a dot and its blur."""

    def figure():
        words = Figure(figsize=(2, 1.6))
        words.text(0.5, 0.5, "Torque (N·m)\nof 3 turns", rotation=rotation, ha="center", va="center")
        return words

    svg, png = draw_both(figure())
    assert svg == _by_matplotlib(figure(), "svg", metadata=SVG_METADATA)
    ends = [np.argwhere(_dots(file) < 160) for file in (png, _by_matplotlib(figure(), "png"))]
    assert len(ends[0]) > 300
    assert np.abs(ends[0].min(axis=0) - ends[1].min(axis=0)).max() <= 2
    assert np.abs(ends[0].max(axis=0) - ends[1].max(axis=0)).max() <= 2
