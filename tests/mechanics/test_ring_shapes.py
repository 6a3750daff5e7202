import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.ring_shapes import arc_ring, four_arc_ring, harmonic_ring
from analysis_lib.refusals import Refusal

PITCH_M = 0.0127
TURN = np.linspace(0, 2 * math.pi, 721)
PSI = np.linspace(0.01, 6.25, 29)


def length_of_drawn_curve(ring, points=200_001):
    """Length of the curve through its own points, by straight chords."""
    x, y = ring.point(np.linspace(0, 2 * math.pi, points))
    return np.hypot(np.diff(x), np.diff(y)).sum()


def farthest_projection(ring, psi):
    """Support function by its definition, from points of the curve."""
    x, y = ring.point(np.linspace(0, 2 * math.pi, 40_001))
    return np.array([(x * math.cos(angle) + y * math.sin(angle)).max() for angle in psi])


SHAPES = [
    harmonic_ring(52, {2: 0.05}),
    harmonic_ring(46, {2: 0.06, 4: -0.008}, {2: 0.03, 4: 0.01}),
    arc_ring(50, [(80.0, 50.0), (110.0, 60.0), (95.0, 70.0)]),
    four_arc_ring(52, 1.16, 0.7),
]


@pytest.mark.parametrize("ring", SHAPES)
def test_drawn_curve_has_the_teeth_and_the_support(ring):
    assert length_of_drawn_curve(ring) == pytest.approx(ring.teeth * PITCH_M, rel=1e-8)
    assert ring.support(PSI) == pytest.approx(farthest_projection(ring, PSI), abs=1e-9)
    mean = np.mean(ring.support(TURN[:-1]))  # Cauchy
    assert mean == pytest.approx(ring.teeth * PITCH_M / (2 * math.pi), rel=1e-5)


def shoelace(x, y):
    """Area of a polygon."""
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2


@pytest.mark.parametrize("ring", SHAPES)
def test_area_is_that_of_the_drawn_curve_and_of_its_parallels_by_steiner(ring):
    """Shoelace formula; Steiner: the parallel curve at distance d encloses A + L·d + π·d²."""
    psi = np.linspace(0, 2 * math.pi, 100_000, endpoint=False)
    x, y = ring.point(psi)
    assert ring.area_m2 == pytest.approx(shoelace(x, y), rel=1e-6)
    d = 0.004
    parallel = shoelace(x + d * np.cos(psi), y + d * np.sin(psi))
    assert parallel == pytest.approx(ring.area_m2 + ring.perimeter_m * d + math.pi * d**2, rel=1e-6)
    # Of all curves of one length the circle encloses most.
    assert ring.area_m2 < Ring.round(ring.teeth).area_m2


def test_area_of_an_ellipse_is_pi_times_its_semi_axes():
    """52 teeth at 1.13: π · 111.417 · 98.599 mm² (semi-axes of the reference table)."""
    assert Ring.ellipse(52, 1.13).area_m2 * 1e6 == pytest.approx(math.pi * 111.417 * 98.599, abs=1)
    assert Ring.round(52).area_m2 == pytest.approx((52 * PITCH_M) ** 2 / (4 * math.pi), rel=1e-12)


@pytest.mark.parametrize("ring", SHAPES)
def test_shapes_lie_along_their_major_axis_and_repeat(ring):
    widths = ring.support(TURN) + ring.support(TURN + math.pi)
    assert float(ring.support(0.0)) == pytest.approx(widths.max() / 2, rel=1e-6)
    assert ring.support(PSI + math.pi) == pytest.approx(ring.support(PSI), rel=1e-9)
    assert ring.axis_ratio == pytest.approx(widths.max() / widths.min(), rel=1e-4)


@pytest.mark.parametrize("ring", SHAPES)
def test_slopes_are_those_of_the_support(ring):
    step = 1e-6
    slope = (ring.support(PSI + step) - ring.support(PSI - step)) / (2 * step)
    assert ring.support_slope(PSI) == pytest.approx(slope, abs=1e-8)
    second = (ring.support_slope(PSI + step) - ring.support_slope(PSI - step)) / (2 * step)
    assert ring.shape.second(PSI) == pytest.approx(second, abs=1e-6)


@pytest.mark.parametrize("ring", SHAPES)
def test_any_shape_drives_the_same_chain(ring):
    drivetrain = Drivetrain(ring, mount_deg=66.0)
    angle = np.arange(7200) * math.pi / 3600
    assert np.mean(drivetrain.gear(angle)) == pytest.approx(ring.teeth / 17, rel=1e-6)
    peak = math.radians(drivetrain.peak_arm_deg)
    assert float(drivetrain.lever_arm(peak)) == pytest.approx(drivetrain.lever_arm(angle).max(), rel=1e-6)


def test_harmonics_of_an_ellipse_make_the_ellipse():
    """Fourier coefficients of √(a² cos² ψ + b² sin² ψ) by quadrature, for 1.10 and 52 teeth."""
    a, b, mean = 0.11004857, 0.10004416, 0.10510592

    def coefficient(order):
        return quad(
            lambda psi: math.hypot(a * math.cos(psi), b * math.sin(psi)) * math.cos(order * psi), 0, math.pi
        )[0] / (math.pi / 2)

    ring = harmonic_ring(52, {order: coefficient(order) / mean for order in (2, 4, 6, 8)})
    assert ring.support(PSI) == pytest.approx(Ring.ellipse(52, 1.10).support(PSI), abs=1e-8)


def test_turned_harmonics_are_the_same_ring():
    """The same second and fourth harmonic, shifted by 40°."""
    shift = math.radians(40)
    plain = harmonic_ring(50, {2: 0.06, 4: 0.01})
    turned = harmonic_ring(
        50,
        {2: 0.06 * math.cos(2 * shift), 4: 0.01 * math.cos(4 * shift)},
        {2: 0.06 * math.sin(2 * shift), 4: 0.01 * math.sin(4 * shift)},
    )
    assert turned.support(PSI) == pytest.approx(plain.support(PSI), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(1.02, 2.0), st.floats(0.1, 0.95))
def test_draughtsman_oval_has_its_axes(axis_ratio, nose_ratio):
    ring = four_arc_ring(48, axis_ratio, nose_ratio)
    assert ring.axis_ratio == pytest.approx(axis_ratio, rel=1e-9)
    assert float(ring.radius_of_curvature(0.0)) == pytest.approx(nose_ratio * ring.semi_minor_m, rel=1e-9)
    # Perimeter from the arcs themselves: four noses of r·α and four flanks of R·(π/2 − α).
    out, r = axis_ratio - nose_ratio, nose_ratio
    flank = (out**2 + 1 - r**2) / (2 * (1 - r))
    alpha = math.atan2(flank - 1, out)
    perimeter = 4 * (r * alpha + flank * (math.pi / 2 - alpha)) * ring.semi_minor_m
    assert perimeter == pytest.approx(48 * PITCH_M, rel=1e-9)


def test_nearly_straight_flanks_make_a_stadium():
    """Half circles of radius b on a rectangle: H = b + c·|cos ψ|, perimeter 2πb + 4c, ratio (b + c)/b."""
    ring = four_arc_ring(52, 1.2, 1 - 1e-9)
    b = 52 * PITCH_M / (2 * math.pi + 4 * 0.2)
    assert ring.support(PSI) == pytest.approx(b + 0.2 * b * np.abs(np.cos(PSI)), abs=1e-7)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: harmonic_ring(52, {2: 0.05, 3: 0.01}), "even whole numbers"),
        (lambda: harmonic_ring(52, {0: 1.0}), "even whole numbers"),
        (lambda: harmonic_ring(52, {2: 0.34}), "hollow"),
        (lambda: arc_ring(52, [(1.0, 90.0)]), "add up to 90"),
        (lambda: arc_ring(52, [(-1.0, 180.0)]), "above 0"),
        (lambda: arc_ring(52, []), "pairs"),
        (lambda: four_arc_ring(52, 1.2, 1.0), "nose_ratio"),
        (lambda: four_arc_ring(52, 1.0, 0.5), "axis_ratio"),
    ],
)
def test_refusals(make, match):
    with pytest.raises(Refusal, match=match):
        make()
