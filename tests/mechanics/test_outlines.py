import math

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.outlines import ring_from_outline
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal

# Ellipse of 52 teeth and axis ratio 1.10 (reference values, section 2): semi-axes 110.049 and 100.044 mm.
A_MM, B_MM = 110.049, 100.044


def ellipse_points(count=104, axis_clock_deg=0.0, a=A_MM, b=B_MM):
    """Points forward and upward; the major axis at a clock angle, from straight up, pedalling direction."""
    t = np.arange(count) * 2 * math.pi / count
    clock = math.radians(axis_clock_deg)
    along, across = a * np.cos(t), b * np.sin(t)
    return np.column_stack(
        [
            along * math.sin(clock) + across * math.cos(clock),
            along * math.cos(clock) - across * math.sin(clock),
        ]
    )


@pytest.mark.parametrize("axis_clock_deg", [0.0, 35.0, 90.0, 130.0])
def test_reads_an_ellipse(axis_clock_deg):
    reading = ring_from_outline(ellipse_points(axis_clock_deg=axis_clock_deg), 52)
    distance = (reading.major_axis_deg - axis_clock_deg + 90) % 180 - 90
    assert distance == pytest.approx(0, abs=0.5)
    assert reading.ring.axis_ratio == pytest.approx(1.10, abs=0.001)
    psi = np.linspace(0, 6, 50)
    # 104 points of an ellipse miss the curve by up to R(π/104)²/2 = 0.05 mm between them.
    assert reading.ring.support(psi) == pytest.approx(Ring.ellipse(52, 1.10).support(psi), abs=2e-4)
    assert reading.scale == pytest.approx(1, abs=0.001)
    assert reading.off_centre_mm == pytest.approx(0, abs=1e-6)
    assert reading.ring.support(psi).mean() < reading.ring.semi_major_m


def test_mount_read_from_a_drawing_with_the_crank_up_puts_the_arm_in_the_right_place():
    """A skewed oval drawn at its mounting: lever arm from the drawing's own points, by projection."""
    points = ellipse_points(720, axis_clock_deg=70.0)
    points = points + 2.0 * np.sin(4 * np.arctan2(points[:, 1], points[:, 0]))[:, None] * points / 200
    teeth_mm = np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T).sum()
    points = points * 52 * 12.7 / teeth_mm
    reading = ring_from_outline(points, 52)
    drivetrain = Drivetrain(reading.ring, reading.major_axis_deg)
    for crank in np.radians([0, 40, 100, 170, 260]):
        sine, cosine = math.sin(crank), math.cos(crank)
        turned = np.column_stack(
            [points[:, 0] * cosine + points[:, 1] * sine, points[:, 1] * cosine - points[:, 0] * sine]
        )
        normal = float(drivetrain.ring_angle(crank)) + crank + math.radians(reading.major_axis_deg)
        projected = (turned @ [math.sin(normal), math.cos(normal)]).max() / 1000
        assert float(drivetrain.lever_arm(crank)) == pytest.approx(projected, abs=3e-5)


def test_direction_of_travel_and_a_closing_point_do_not_matter():
    points = ellipse_points()
    reading = ring_from_outline(points, 52)
    other = ring_from_outline(np.vstack([points, points[:1]])[::-1], 52)
    assert other.n_points == reading.n_points == 104
    assert other.ring.axis_ratio == pytest.approx(reading.ring.axis_ratio, rel=1e-12)


def test_sentence_says_what_was_done():
    text = ring_from_outline(ellipse_points(), 52).sentence()
    assert "104 points" in text
    assert "52 teeth" in text


@pytest.mark.parametrize(
    ("points", "teeth", "match"),
    [
        (ellipse_points() / 1000, 52, "metres by 1000"),
        (ellipse_points(), 50, "51.99 teeth"),
        (ellipse_points(20), 52, "20 points"),
        (ellipse_points() + np.array([5.0, 0.0]), 52, "middle lies 5.0 mm"),
        (ellipse_points() + np.array([300.0, 0.0]), 52, "does not surround"),
        (ellipse_points()[:, :1], 52, "shape"),
        (np.full((60, 2), np.nan), 52, "missing"),
    ],
)
def test_refusals(points, teeth, match):
    with pytest.raises(Refusal, match=match):
        ring_from_outline(points, teeth)


def test_refuses_hollow_and_self_crossing_outlines():
    dented = ellipse_points()
    dented[10] *= 0.985
    with pytest.raises(Refusal, match="point 11 of the outline"):
        ring_from_outline(dented, 52)
    shuffled = ellipse_points()
    shuffled[[10, 14]] = shuffled[[14, 10]]
    with pytest.raises(Refusal, match="crosses itself"):
        ring_from_outline(shuffled, 52)
