"""Correlations with angles against Zar's examples."""

from __future__ import annotations

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular_correlation import angle_with_angle, angle_with_number

# Zar, Biostatistical Analysis, 5th ed., example 27.21: r 0.9854, n r² = 6.796, 0.025 < p < 0.05
ZAR_27_21_X = [48, 55, 26, 23, 22, 62, 64]
ZAR_27_21_ANGLES = [190, 160, 210, 225, 220, 140, 120]
# example 27.20: r 0.8945
ZAR_27_20 = ([145, 190, 310, 210, 80], [120, 180, 330, 225, 55])


def test_zar_example_27_21():
    found = angle_with_number(ZAR_27_21_ANGLES, ZAR_27_21_X)
    assert found.r == pytest.approx(0.9854, abs=6e-5)
    assert 7 * found.r**2 == pytest.approx(6.796, abs=1.1e-3)
    assert found.p == pytest.approx(0.0334, abs=6e-5)


def test_zar_example_27_20():
    found = angle_with_angle(*ZAR_27_20)
    assert found.r == pytest.approx(0.8945, abs=6e-5)
    assert "all 120 orders" in found.method


def test_a_number_that_is_a_cosine_of_the_angle_correlates_perfectly():
    angles = np.array([10.0, 80, 200, 310, 150])
    assert angle_with_number(angles, 3 + 2 * np.cos(np.radians(angles - 33))).r == pytest.approx(1)


def test_angles_that_turn_with_one_another():
    a = np.array([3.0, 50, 120, 200, 300, 340, 20, 90])
    assert angle_with_angle(a, a + 77).r == pytest.approx(1)
    assert angle_with_angle(a, 30 - a).r == pytest.approx(-1)
    assert angle_with_angle(a, a + 77).p == pytest.approx(1e-4, rel=1)


def test_axial_is_the_correlation_of_doubled_angles():
    a, b = (np.array(values) for values in ZAR_27_20)
    assert angle_with_angle(a / 2, b / 2 + 180, axial=True).r == pytest.approx(0.8945, abs=6e-5)
    halves = np.array(ZAR_27_21_ANGLES) / 2
    assert angle_with_number(halves, ZAR_27_21_X, axial=True).r == pytest.approx(0.9854, abs=6e-5)


def test_p_of_unrelated_angles_is_uniform():
    rng = np.random.default_rng(1)
    p = [angle_with_angle(*rng.uniform(0, 360, size=(2, 5))).p for _ in range(300)]
    assert np.mean(np.array(p) <= 0.2) == pytest.approx(0.2, abs=4 * np.sqrt(0.2 * 0.8 / 300))


@pytest.mark.parametrize(
    ("call", "what"),
    [
        (lambda: angle_with_number([1, 2, 3], [1, 2, 3]), "at least 4"),
        (lambda: angle_with_number([1, 2, 3, 4], [1, 2, 3]), "as many of each"),
        (lambda: angle_with_number([1, 2, 3, 4], [1, 1, 1, 1]), "constant"),
        (lambda: angle_with_number([5, 5, 5, 5], [1, 2, 3, 4]), "constant"),
        (lambda: angle_with_angle([5, 5, 5, 5], [1, 2, 3, 4]), "constant"),
    ],
)
def test_refusals(call, what):
    with pytest.raises(Refusal, match=what):
        call()
