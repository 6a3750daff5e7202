import math

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from analysis_lib.mechanics.chain import fix_chain, follow_chain
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.ring_shapes import four_arc_ring
from analysis_lib.refusals import Refusal

PITCH_M = 0.0127


def taut_loop(ring, major_axis_clock, sprocket_teeth, centre, points=20_000):
    """Length of a rubber band around both wheels drawn as polygons, and its two bridges."""
    x, y = ring.point(np.linspace(0, 2 * math.pi, points, endpoint=False))
    sine, cosine = math.sin(major_axis_clock), math.cos(major_axis_clock)
    drawn = np.column_stack([x * sine + y * cosine, x * cosine - y * sine])
    t = np.linspace(0, 2 * math.pi, points, endpoint=False)
    wheel = np.column_stack([np.cos(t), np.sin(t)]) * sprocket_teeth * PITCH_M / (2 * math.pi) + centre
    corners = np.vstack([drawn, wheel])
    hull = ConvexHull(corners)
    bridges = [edge for edge in hull.simplices if (edge[0] < points) != (edge[1] < points)]
    bridges.sort(key=lambda edge: -corners[edge, 1].mean())
    return hull.area, [np.hypot(*(corners[edge[0]] - corners[edge[1]])) for edge in bridges]


@pytest.mark.parametrize(
    ("ring", "mount_deg", "sprocket", "slope"),
    [
        (Ring.round(46), 0.0, 17, 0.0),
        (Ring.ellipse(46, 1.10), 70.0, 17, 0.0),
        (Ring.ellipse(52, 1.29), 20.0, 11, 0.15),
        (four_arc_ring(50, 1.2, 0.7), 110.0, 19, -0.05),
    ],
)
def test_loop_is_a_rubber_band_around_both_wheels(ring, mount_deg, sprocket, slope):
    drivetrain = Drivetrain(ring, mount_deg, sprocket, 0.412, chainstay_slope_rad=slope)
    turn = follow_chain(drivetrain, angles=24)
    centre = 0.412 * np.array([-math.cos(slope), math.sin(slope)])
    for index in (0, 3, 10, 17):
        axis = turn.crank_rad[index] + math.radians(mount_deg)
        loop, (upper, lower) = taut_loop(ring, axis, sprocket, centre)
        # Where two arcs meet, the 48 nodes of the integral miss the kink by some micrometres.
        assert turn.loop_m[index] == pytest.approx(loop, abs=1e-5)
        assert turn.upper_run_m[index] == pytest.approx(upper, abs=2e-4)
        assert turn.lower_run_m[index] == pytest.approx(lower, abs=2e-4)
    assert turn.ring_wrap_rad + turn.sprocket_wrap_rad == pytest.approx(np.full(24, 2 * math.pi))


@pytest.mark.parametrize(("first", "second", "distance"), [(46, 17, 0.410), (52, 11, 0.405), (34, 34, 0.42)])
def test_standard_chain_length_for_round_wheels(first, second, distance):
    """Exact: 2a cos α + p(z₁ + z₂)/2 + α·p(z₁ − z₂)/π with sin α = p(z₁ − z₂)/(2πa)."""
    tilt = math.asin(PITCH_M * (first - second) / (2 * math.pi * distance))
    exact = 2 * distance * math.cos(tilt) + PITCH_M * (
        (first + second) / 2 + tilt * (first - second) / math.pi
    )
    turn = follow_chain(Drivetrain(Ring.round(first), 0.0, second, distance))
    assert turn.loop_m == pytest.approx(np.full(360, exact), rel=1e-12)
    assert turn.take_up_mm == pytest.approx(0, abs=1e-9)
    assert math.degrees(turn.ring_wrap_rad[0]) == pytest.approx(180 + 2 * math.degrees(tilt), abs=1e-9)
    assert turn.least_sprocket_wrap_deg == pytest.approx(180 - 2 * math.degrees(tilt), abs=1e-9)
    # The handbooks' n = 2a' + (z1+z2)/2 + (z2−z1)²/(39.6 a') drops terms of fourth order in the tilt; 39.6 is for 4π².
    pitches = distance / PITCH_M
    printed = 2 * pitches + (first + second) / 2 + (second - first) ** 2 / (39.6 * pitches)
    assert turn.loop_m / PITCH_M == pytest.approx(np.full(360, printed), abs=0.015)


# Reference values, section 9: the arm swings by about ±5 mm at 1.10 and ±13 mm at 1.29 with 52 teeth.
@pytest.mark.parametrize(("axis_ratio", "swing_mm"), [(1.10, 5), (1.29, 13)])
def test_top_of_the_ring_swings_by_both_semi_axes(axis_ratio, swing_mm):
    turn = follow_chain(Drivetrain(Ring.ellipse(52, axis_ratio), 33.0), angles=1440)
    assert turn.top_swing_mm / 2 == pytest.approx(swing_mm, abs=0.5)
    # Top above the crank axis at θ + mount = 0: the major axis stands upright.
    upright = np.argmax(turn.ring_top_m)
    assert math.degrees(turn.crank_rad[upright]) % 180 == pytest.approx(180 - 33, abs=0.26)


def test_chordal_ripple_names_both_wheels():
    """1 − cos(180°/z): 0.182 % at 52 and 1.703 % at 17 teeth (reference values, section 5)."""
    ripple = follow_chain(Drivetrain(Ring.ellipse(52, 1.1))).chordal_ripple
    assert 100 * np.array(ripple) == pytest.approx([0.182, 1.703], abs=0.0005)


def test_equal_wheels_take_up_nothing_to_first_order():
    """With level runs half an axial ring is always wrapped, so an oval takes up far less than its swing."""
    turn = follow_chain(Drivetrain(Ring.ellipse(40, 1.1), 0.0, 40))
    assert turn.take_up_mm < 0.05 * turn.top_swing_mm
    assert follow_chain(Drivetrain(Ring.ellipse(40, 1.1), 0.0, 12)).take_up_mm > 5 * turn.take_up_mm


def test_fixed_drive_verdicts():
    drivetrain = Drivetrain(Ring.ellipse(46, 1.10), 70.0, 17)
    loop_mm = 1000 * follow_chain(drivetrain).loop_m
    short, long = fix_chain(drivetrain, 96), fix_chain(drivetrain, 98)
    assert not short.closes
    assert "too short" in short.sentence(15)
    assert long.closes
    assert long.slack_mm == pytest.approx(98 * 12.7 - loop_mm)
    assert "may drop" in long.sentence(15)
    assert "runs" in long.sentence(200)
    assert "makers' instructions" in long.sentence(200)


def test_sag_of_a_parabola():
    """A parabola of span l and sag f is longer than l by 8f²/3l (any handbook of cables)."""
    drive = fix_chain(Drivetrain(Ring.round(40), 0.0, 17), 94)
    sag, span = drive.most_sag_mm, 410.0
    assert 8 * sag**2 / (3 * span) == pytest.approx(drive.slack_mm.max(), rel=1e-9)


@pytest.mark.parametrize("links", [97, 10, 500, 96.5])
def test_refuses_impossible_chains(links):
    with pytest.raises(Refusal, match="98 is the shortest"):
        fix_chain(Drivetrain(Ring.ellipse(46, 1.10), 70.0, 17), links)
