import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ellipe

from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal

PITCH_M = 0.0127

# Ellipses of 52 teeth: semi-axes in mm and effective teeth 2πh/p, from an independent computation of
# perimeter = 52 · 12.7 mm (project's reference values, section 2).
ELLIPSES_52 = [
    (1.05, 107.653, 102.527, 53.26, 50.72),
    (1.10, 110.049, 100.044, 54.45, 49.50),
    (1.13, 111.417, 98.599, 55.12, 48.78),
    (1.16, 112.737, 97.187, 55.78, 48.08),
    (1.215, 115.037, 94.681, 56.91, 46.84),
    (1.24, 116.034, 93.576, 57.41, 46.30),
    (1.29, 117.943, 91.429, 58.35, 45.23),
]


@pytest.mark.parametrize(("axis_ratio", "major", "minor", "most_teeth", "fewest_teeth"), ELLIPSES_52)
def test_semi_axes_and_effective_teeth(axis_ratio, major, minor, most_teeth, fewest_teeth):
    ring = Ring.ellipse(52, axis_ratio)
    arms = ring.support([0.0, math.pi / 2])
    assert arms * 1000 == pytest.approx([major, minor], abs=0.0005)
    assert 2 * math.pi * arms / PITCH_M == pytest.approx([most_teeth, fewest_teeth], abs=0.005)
    assert (ring.semi_major_m, ring.semi_minor_m) == pytest.approx((arms[0], arms[1]), rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(20, 62), st.floats(1.0, 3.0))
def test_any_ellipse_keeps_perimeter_mean_and_ratio(teeth, axis_ratio):
    ring = Ring.ellipse(teeth, axis_ratio)
    mean = quad(ring.support, 0, math.pi / 2, epsabs=1e-13)[0] / (math.pi / 2)
    assert mean == pytest.approx(teeth * PITCH_M / (2 * math.pi), rel=1e-9)
    length = 4 * ring.semi_major_m * ellipe(1 - (ring.semi_minor_m / ring.semi_major_m) ** 2)
    assert length == pytest.approx(teeth * PITCH_M, rel=1e-9)
    assert ring.axis_ratio == pytest.approx(axis_ratio, rel=1e-12)


def test_support_is_the_farthest_point_of_the_ellipse_along_the_normal():
    """Largest projection of points on the curve, x = a cos t, y = b sin t: not the polar radius."""
    ring = Ring.ellipse(52, 1.29)
    t = np.linspace(0, 2 * math.pi, 200_001)
    psi = np.radians([0, 17, 45, 90, 133, 200, 321])
    x, y = 0.117942941 * np.cos(t), 0.091428636 * np.sin(t)
    farthest = [(x * math.cos(angle) + y * math.sin(angle)).max() for angle in psi]
    assert ring.support(psi) == pytest.approx(farthest, abs=1e-9)
    polar_radius_45 = 1 / math.hypot(math.cos(math.pi / 4) / 0.117942941, math.sin(math.pi / 4) / 0.091428636)
    assert float(ring.support(math.pi / 4)) - polar_radius_45 > 0.003


def test_derivatives_curvature_and_points():
    ring = Ring.ellipse(46, 1.2)
    psi, step = np.linspace(0, 2 * math.pi, 37), 1e-5
    slope = (ring.support(psi + step) - ring.support(psi - step)) / (2 * step)
    assert ring.support_slope(psi) == pytest.approx(slope, abs=1e-10)
    second = (ring.support_slope(psi + step) - ring.support_slope(psi - step)) / (2 * step)
    assert ring.shape.second(psi) == pytest.approx(second, abs=1e-9)
    # Vertices of an ellipse have radii of curvature b²/a and a²/b.
    a, b = ring.semi_major_m, ring.semi_minor_m
    assert ring.radius_of_curvature([0, math.pi / 2]) == pytest.approx([b**2 / a, a**2 / b], rel=1e-12)
    x, y = ring.point(psi)
    assert (x / a) ** 2 + (y / b) ** 2 == pytest.approx(np.ones(psi.size), rel=1e-12)


def test_round_ring_is_round_and_has_no_axis():
    ring = Ring.round(52)
    assert ring.support(np.linspace(0, 7, 20)) * 1000 == pytest.approx(np.full(20, 105.1059), abs=5e-5)
    assert ring.is_round
    assert ring.axis_ratio == pytest.approx(1, abs=1e-12)
    with pytest.raises(Refusal, match="major axis"):
        _ = ring.peak_rad


def test_oval_ring_lies_along_its_axis_and_repeats_after_half_a_turn():
    ring = Ring.ellipse(52, 1.1)
    assert ring.peak_rad == 0.0
    psi = np.linspace(0, 3, 11)
    assert ring.support(psi + math.pi) == pytest.approx(ring.support(psi), rel=1e-12)


@pytest.mark.parametrize("axis_ratio", [0.9, 0.0, -1.1, 110.0, math.nan, math.inf])
def test_refuses_impossible_axis_ratios(axis_ratio):
    with pytest.raises(Refusal, match="axis_ratio"):
        Ring.ellipse(52, axis_ratio)


@dataclass(frozen=True)
class Wave:
    mean: float
    size: float

    def value(self, psi):
        return self.mean + self.size * np.cos(2 * psi)

    def slope(self, psi):
        return -2 * self.size * np.sin(2 * psi)

    def second(self, psi):
        return -4 * self.size * np.cos(2 * psi)


def test_refuses_hollow_curves_and_wrong_perimeters():
    mean = 52 * PITCH_M / (2 * math.pi)
    Ring(52, Wave(mean, 0.33 * mean))  # H + H'' = mean − 3·size·cos 2ψ stays positive up to a third
    with pytest.raises(Refusal, match="hollow"):
        Ring(52, Wave(mean, 0.34 * mean))
    with pytest.raises(Refusal, match="52 teeth"):
        Ring(52, Wave(1.01 * mean, 0.0))
    with pytest.raises(Refusal, match="teeth of the ring"):
        Ring.round(5)
