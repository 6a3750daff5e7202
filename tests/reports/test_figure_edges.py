"""Figures keep markers off their edges and dots off one another."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from analysis_lib.reports.figures.both_files import draw_svg
from analysis_lib.reports.figures.effect_figures import paired_panels
from analysis_lib.reports.figures.measuring import Measuring
from analysis_lib.reports.figures.mounting_figures import Rose, phase_roses, stack_dots
from analysis_lib.reports.figures.style import share_limits
from analysis_lib.reports.figures.torque_figures import polar_panels


def test_riders_of_the_lowest_and_highest_intensity_stay_off_the_edges():
    cells = pd.DataFrame(
        {
            "intensity": np.repeat(["easy", "hard"], 2),
            "rider": ["A", "B"] * 2,
            "round": [150.0, 152.0, 300.0, 301.0],
            "oval": [151.0, 153.0, 302.0, 303.0],
        }
    )
    for axes in paired_panels(cells, "Power", "W").axes:
        low, high = axes.get_ylim()
        # A marker of 4 points on axes of some 40 mm reaches 2 points, a fiftieth of the height
        assert (150 - low) / (high - low) > 0.03
        assert (high - 303) / (high - low) > 0.03


def test_limits_that_were_set_by_hand_stay():
    panels = Figure().subplots(1, 2)
    for axes, top in zip(panels, (5, 9), strict=True):
        axes.bar([0, 1], [1, top / 2])
        axes.set_ylim(0, top)
    share_limits(panels)
    assert [tuple(axes.get_ylim()) for axes in panels] == [(0, 9)] * 2


@pytest.mark.parametrize("count", [1, 12, 30])
def test_dots_of_one_row_are_apart_and_no_row_is_empty(count):
    angles = np.random.default_rng(count).normal(105, 4, count)
    rows = stack_dots(angles, 3.0)
    assert set(rows) == set(range(rows.max() + 1))
    for row in set(rows):
        assert (np.diff(np.sort(angles[rows == row])) >= 3.0).all()


def test_the_rose_shows_a_dot_a_rider_inside_its_rim():
    angles = np.array([100.0, 101.0, 101.5, 102.0, 110.0, 179.9])
    (axes,) = phase_roses([Rose("easy", angles, 103.0, 100.0, 106.0)]).axes
    dots = next(line for line in axes.lines if line.get_marker() == "o")
    assert np.sort(np.rad2deg(dots.get_xdata())) == pytest.approx(angles)
    petals = max(bar.get_height() for bar in axes.patches)
    assert petals < dots.get_ydata().min() < dots.get_ydata().max() < axes.get_ylim()[1]


@pytest.mark.parametrize(("count", "rows"), [(1, 1), (2, 1), (3, 1), (4, 2), (7, 3)])
def test_roses_stand_side_by_side_to_one_scale(count, rows):
    many, few = np.full(30, 95.0), np.array([95.0])
    roses = [Rose(str(number), few if number else many, 95.0, 90.0, 100.0) for number in range(count)]
    panels = phase_roses(roses).axes
    assert len(panels) == count
    assert {panel.get_subplotspec().get_gridspec().nrows for panel in panels} == {rows}
    tallest = [max(bar.get_height() for bar in panel.patches) for panel in panels]
    assert tallest == pytest.approx([30**0.5] + [1.0] * (count - 1))
    assert min(panel.get_ylim()[1] for panel in panels) > 30**0.5


def test_torque_runs_clockwise_around_the_crank_from_the_top_and_no_word_is_cut_off():
    angles = np.arange(0.5, 360)
    shares = 1 - np.cos(np.deg2rad(angles))  # most at 180°, none at 0°
    curves = pd.concat(
        pd.DataFrame({"ring": "round", "intensity": name, "crank_deg": angles, "torque_Nm": 40 * shares})
        for name in ("easy", "hard")
    )
    figure = polar_panels(curves)
    draw_svg(figure)
    for axes in figure.axes:
        x, y = axes.lines[-1].get_data()
        floor = -0.35 * 1.05 * curves["torque_Nm"].max()  # the centre, so that no torque is a circle
        assert np.hypot(x, y)[:360] == pytest.approx(40 * shares - floor)
        assert x[89] > 0 > x[269] and y[0] > 0 > y[179]
        words = [text.get_window_extent(Measuring()) for text in axes.texts if text.get_text()]
        assert {"0", "90", "180", "270"} < {text.get_text() for text in axes.texts}
        assert min(word.y0 for word in words) > 0 and max(word.y1 for word in words) < figure.bbox.height
