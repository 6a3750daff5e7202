"""Figures keep markers off their edges and dots off one another."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from analysis_lib.reports.figures.both_files import draw_svg
from analysis_lib.reports.figures.effect_figures import effect_panel, paired_panels
from analysis_lib.reports.figures.measuring import Measuring
from analysis_lib.reports.figures.mounting_figures import Rose, phase_roses, stack_dots
from analysis_lib.reports.figures.quality_figures import measure_panels
from analysis_lib.reports.figures.style import in_house_style, share_limits
from analysis_lib.reports.figures.torque_figures import polar_panels


def test_riders_stay_off_the_edges_and_a_difference_looks_the_same_at_every_intensity():
    cells = pd.DataFrame(
        {
            "intensity": np.repeat(["easy", "hard"], 2),
            "rider": ["A", "B"] * 2,
            "round": [150.0, 152.0, 300.0, 301.0],
            "oval": [151.0, 153.0, 302.0, 309.0],
        }
    )
    spans = []
    panels = paired_panels(cells, "Power", "W").axes
    for axes, lowest, highest in zip(panels, (150, 300), (153, 309), strict=True):
        low, high = axes.get_ylim()
        # A marker of 4 points on axes of some 40 mm reaches 2 points, a fiftieth of the height
        assert (lowest - low) / (high - low) > 0.03
        assert (high - highest) / (high - low) > 0.03
        spans.append(high - low)
    assert spans[0] == pytest.approx(spans[1])
    # 9 W at most, and not the 159 W from the lowest to the highest intensity
    assert spans[0] < 12


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


def _dots(axes):
    """Angle from the top, clockwise, and radius of the dots of a rose."""
    x, y = next(line for line in axes.lines if line.get_marker() == "o").get_data()
    return np.rad2deg(np.arctan2(x, y)), np.hypot(x, y)


def test_the_rose_shows_a_dot_a_rider_inside_its_rim():
    phases = np.array([100.0, 101.0, 101.5, 102.0, 110.0, 179.9])
    (axes,) = phase_roses([Rose("easy", phases, 103.0, 100.0, 106.0)]).axes
    angles, radii = _dots(axes)
    assert np.sort(angles) == pytest.approx(phases)
    petals = max(petal.r for petal in axes.patches)
    assert petals < radii.min() < radii.max() < axes.get_ylim()[1]


def test_petals_stand_where_their_phases_are_and_an_interval_over_the_top_comes_in_again_below():
    (axes,) = phase_roses([Rose("easy", np.array([1.0, 95.0, 96.0]), 1.0, -5.0, 7.0)]).axes
    # counter-clockwise from the right, as patches are: 0 to 10 degrees from the top are 80 to 90
    petals = {(petal.theta1, petal.theta2): petal.r for petal in axes.patches}
    assert petals == {(80, 90): 1.0, (-10, 0): pytest.approx(2**0.5)}
    x, y = next(line for line in axes.lines if line.get_linewidth() == 2).get_data()
    angles = np.rad2deg(np.arctan2(x, y))
    assert np.nanmin(x) >= 0
    assert (np.nanmin(angles), np.nanmax(angles)) == pytest.approx((0.0, 180.0), abs=0.25)
    assert angles[0] == pytest.approx(175.0) and angles[-1] == pytest.approx(7.0)
    assert np.isnan(angles).sum() == 1


@pytest.mark.parametrize(("count", "rows"), [(1, 1), (2, 1), (3, 1), (4, 2), (7, 3)])
def test_roses_stand_side_by_side_to_one_scale(count, rows):
    many, few = np.full(30, 95.0), np.array([95.0])
    roses = [Rose(str(number), few if number else many, 95.0, 90.0, 100.0) for number in range(count)]
    panels = phase_roses(roses).axes
    assert len(panels) == count
    assert {panel.get_subplotspec().get_gridspec().nrows for panel in panels} == {rows}
    tallest = [max(petal.r for petal in panel.patches) for panel in panels]
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
        drawn = axes.transData.transform(np.column_stack([x, y]))
        floor = -0.35 * 1.05 * curves["torque_Nm"].max()  # the centre, so that no torque is a circle
        assert np.hypot(x, y)[:360] == pytest.approx(40 * shares - floor)
        assert x[89] > 0 > x[269] and y[0] > 0 > y[179]
        words = [text.get_window_extent(Measuring()) for text in axes.texts if text.get_text()]
        assert {"0", "0°", "90°", "180°", "270°"} < {text.get_text() for text in axes.texts}
        assert not any(word.contains(*point) for word in words for point in drawn)
        assert min(word.y0 for word in words) > 0 and max(word.y1 for word in words) < figure.bbox.height


def test_trials_under_caution_stand_on_top_and_values_that_are_all_one_stand_on_a_scale_from_zero():
    trials = pd.DataFrame(
        {
            "rider": ["A", "A", "B"],
            "state": ["caution", "used", "used"],
            "turns": [80, 81, 60],
            "gap": [0.01] * 3,
        }
    )
    turns, gap = measure_panels(trials, {"turns": "Kept turns", "gap": "Longest gap (s)"}).axes
    used, caution = turns.lines  # in the order in which they are drawn
    assert (list(used.get_ydata()), list(caution.get_ydata())) == ([81, 60], [80])
    assert caution.get_markerfacecolor() == "white" and caution.get_marker() != used.get_marker()
    assert turns.get_ylim()[0] > 0
    assert gap.get_ylim()[0] == 0 and gap.get_ylim()[1] > 0.01


LONG = "Power output at the same perceived exertion over the last minutes"


@in_house_style
def test_long_words_of_a_study_stand_on_several_lines_beside_one_another():
    intensities = [
        f"{name}, between the first and the second threshold" for name in ("Easy", "Steady", "Hard")
    ]
    cells = pd.DataFrame({"intensity": intensities, "rider": "A", "round": 200.0, "oval": 202.0})
    figure = paired_panels(cells, LONG, "W")
    draw_svg(figure)
    names = [axes.texts[0].get_window_extent(Measuring()) for axes in figure.axes]
    assert all(left.x1 < right.x0 for left, right in pairwise(names)) and names[-1].x1 < figure.bbox.width
    label = figure.axes[0].yaxis.label
    box = label.get_window_extent(Measuring())
    assert box.y0 > 0 and box.y1 < figure.bbox.height
    assert label.get_text().replace("\n", " ") == f"{LONG} (W)"


def test_words_that_have_room_stay_on_one_line():
    figure = paired_panels(
        pd.DataFrame({"intensity": ["Hard (RPE 16)"], "rider": "A", "round": 200.0, "oval": 202.0}),
        "Power",
        "W",
    )
    assert (figure.axes[0].texts[0].get_text(), figure.axes[0].get_ylabel()) == ("Hard (RPE 16)", "Power (W)")


@in_house_style
def test_names_of_intensities_below_an_effect_do_not_touch():
    names = [
        "Easy, below the first threshold",
        "Hard, above the second threshold",
        "Sprint of six seconds",
        "overall",
    ]
    effects = pd.DataFrame({"intensity": names, "estimate": 1.0, "low": 0.0, "high": 2.0})
    effects = effects.assign(low_together=np.nan, high_together=np.nan)
    contrasts = pd.DataFrame({"intensity": names, "contrast": 1.0})
    figure = effect_panel(effects, contrasts, 4.0, "Power", "W")
    draw_svg(figure)
    boxes = [word.get_window_extent(Measuring()) for word in figure.axes[0].get_xticklabels()]
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))
