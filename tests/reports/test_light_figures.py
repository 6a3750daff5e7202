"""Panels stand, and their ticks are, where matplotlib's own axes and constrained layout put them."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis_lib.reports.figures.both_files import draw_svg
from analysis_lib.reports.figures.light_axes import LightX, LightY, _Ticks
from analysis_lib.reports.figures.measuring import Measuring
from analysis_lib.reports.figures.style import (
    crank_axis,
    in_house_style,
    legend_above,
    name_crank_axis,
    name_panel,
    new_figure,
)


def _curves(figure, panels):
    for number, axes in enumerate(panels):
        axes.plot([0, 180, 360], [-1, 55 * (number + 1), 3], label="a")
        crank_axis(axes)
        name_panel(axes, "Easy")
    panels[0].set_ylabel("Torque (N·m)")
    figure.supylabel("all of them", fontsize=7.5)
    name_crank_axis(figure)
    legend_above(figure, panels[0])


def _names(figure, panels):
    for axes in panels:
        axes.plot([-5, 5], [0, 2])
        axes.set_yticks([0, 1, 2], ["a", "a name that is longer", ""])
        axes.set_xticks([-4, 0, 4], ["first", "second", "third"], rotation=40, ha="right")
        axes.set_xlabel("Change (%)")


def _large(figure, panels):
    for axes in panels:
        axes.plot([1e6, 1e6 + 2], [1e9, 2e9])
        axes.tick_params(length=0)


def _logarithmic(figure, panels):
    for axes in panels:
        axes.plot([1, 64], [0.001, 0.002])
        axes.set_xscale("log", base=2)
        axes.set_xticks([1, 8, 64], ["1", "8", "64"])
        axes.minorticks_off()
        axes.set(xlim=(0.9, 70), xlabel="Sectors", ylabel="Error")


def _off(figure, panels):
    _curves(figure, panels)
    panels[-1].set_axis_off()


def _round(figure, panels):
    for axes in panels:
        axes.plot(np.linspace(0, 6, 50), np.linspace(1, 2, 50))


KINDS = [
    (_curves, {}),
    (_curves, {"sharey": True, "sharex": True}),
    (_names, {"width_ratios": [1.5, 1]}),
    (_names, {"sharey": "row"}),
    (_large, {}),
    (_logarithmic, {"height_ratios": [1, 2]}),
    (_off, {}),
    (_round, {"subplot_kw": {"projection": "polar"}}),
]


def _both_ways(fill, options):
    """The same figure of ours and of matplotlib's own axes and layout, each with its panels placed."""
    ours, our_panels = new_figure(2, 2, height_mm=120, **options)
    theirs = Figure(figsize=ours.get_size_inches(), dpi=72, layout="constrained")
    their_panels = list(theirs.subplots(2, 2, squeeze=False, **options).ravel())
    for figure, panels in ((ours, our_panels), (theirs, their_panels)):
        fill(figure, panels)
        figure.get_layout_engine().execute(figure)
    return our_panels, their_panels


@in_house_style
@pytest.mark.parametrize(("fill", "options"), KINDS)
def test_panels_stand_where_constrained_layout_puts_them(fill, options):
    """To 2 of 519 and 340 points: matplotlib measures words by the dots of a picture, ours by the font."""
    for ours, theirs in zip(*_both_ways(fill, options), strict=True):
        size = ours.figure.bbox.size
        away = (ours.get_position().get_points() - theirs.get_position().get_points()) * size
        assert np.abs(away).max() < 2


@in_house_style
@pytest.mark.parametrize(("fill", "options"), KINDS[:-1])
def test_ticks_labels_and_offsets_are_those_of_matplotlib(fill, options):
    renderer = Measuring()
    for ours, theirs in zip(*_both_ways(fill, options), strict=True):
        theirs.set_position(ours.get_position())
        for own, other in ((ours.xaxis, theirs.xaxis), (ours.yaxis, theirs.yaxis)):
            own.get_tightbbox(renderer), other.get_tightbbox(renderer)  # which places labels
            seen = [
                tick.label1
                for tick in other._update_ticks()
                if tick.label1.get_text() and tick.label1.get_visible()
            ]
            words = [text for text in own.get_ticklabels() if text.get_text()] if seen else []
            assert [text.get_text() for text in words] == [text.get_text() for text in seen]
            for text, reference in zip(words, seen, strict=True):
                box, wanted = text.get_window_extent(renderer), reference.get_window_extent(renderer)
                assert box.get_points() == pytest.approx(wanted.get_points(), abs=1e-6)
            assert own.get_offset_text().get_text() == other.get_offset_text().get_text()
            if own.get_label_text() and theirs.axison:
                assert own.label.get_position() == pytest.approx(other.label.get_position(), abs=1e-6)


@in_house_style
def test_no_tick_of_matplotlib_is_made():
    """The hooks of matplotlib that this rests on: `Axes._init_axis` and `Axis.reset_ticks`."""
    figure, panels = new_figure(1, 2, sharex=True, sharey=True)
    _curves(figure, panels)
    assert draw_svg(figure).count(b"<!-- 360 -->") == 2
    for axes in panels:
        assert isinstance(axes.xaxis, LightX) and isinstance(axes.yaxis, LightY)
        assert axes.xaxis.majorTicks == axes.yaxis.majorTicks == []


@in_house_style
def test_words_longer_than_the_figure_leave_room_for_its_panels():
    figure, (left, right) = new_figure(1, 2)
    left.set_yticks([0, 1], ["a", "a word without an end " * 20])
    draw_svg(figure)
    (x0, y0, x1, y1), (x2, _, x3, _) = (axes.get_position().extents for axes in (left, right))
    assert 0 < x0 < x1 < x2 < x3 < 1 and 0 < y0 < y1 < 1
    assert x1 - x0 == pytest.approx(x3 - x2) and x1 - x0 > 0.05


@in_house_style
def test_a_picture_drawn_by_itself_has_its_labels_in_place_and_changes_no_later_figure():
    def figure():
        made, (axes,) = new_figure()
        _names(made, [axes])
        return made, axes

    alone, axes = figure()
    for dpi in (144, 72):
        alone.savefig(io.BytesIO(), format="png", dpi=dpi)
        places = np.array([axes.xaxis.label.get_position()[1], axes.yaxis.label.get_position()[0]]) * 72 / dpi
        later, after = figure()
        drawn = draw_svg(later)
        # Words are measured by whole dots in a picture.
        assert places == pytest.approx(
            [after.xaxis.label.get_position()[1], after.yaxis.label.get_position()[0]], abs=2
        )
    _Ticks._known.clear()
    assert draw_svg(figure()[0]) == drawn
