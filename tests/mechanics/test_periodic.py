import math

import numpy as np
import pytest

from analysis_lib.mechanics.periodic import (
    axial_phase_deg,
    check_turn,
    crank_angles,
    differentiate_turn,
    integrate_turn,
)
from analysis_lib.refusals import Refusal


@pytest.mark.parametrize("count", [36, 37, 360])
def test_integral_and_derivative_of_known_waves(count):
    """∫ (2 cos 2θ − 3 sin 3θ) dθ = sin 2θ + cos 3θ; the mean of a turn has no periodic integral and is left out."""
    angle = crank_angles(count)
    integral = np.sin(2 * angle) + np.cos(3 * angle)
    rate = 2 * np.cos(2 * angle) - 3 * np.sin(3 * angle)
    assert integrate_turn(rate + 5.0) == pytest.approx(integral, abs=1e-12)
    assert differentiate_turn(integral + 5.0) == pytest.approx(rate, abs=1e-12)
    assert differentiate_turn(np.stack([integral, rate]))[0] == pytest.approx(rate, abs=1e-12)


def test_the_highest_harmonic_of_an_even_number_of_angles_is_left_out():
    assert integrate_turn(np.tile([1.0, -1.0], 8)) == pytest.approx(np.zeros(16), abs=1e-15)


@pytest.mark.parametrize("phase", [0.0, 45.0, 101.0, 179.0])
def test_axis_of_the_second_harmonic(phase):
    turn = 20 + 5 * np.cos(2 * (crank_angles(360) - math.radians(phase))) + 3 * np.cos(crank_angles(360))
    assert (axial_phase_deg(turn) - phase + 90) % 180 - 90 == pytest.approx(0, abs=1e-9)


def test_even_turn_has_no_axis():
    assert math.isnan(axial_phase_deg(np.full(360, 20.0)))


def test_check_turn_hands_back_the_angles():
    turn, angle = check_turn(list(range(8)), "turn")
    assert turn.tolist() == list(range(8))
    assert np.degrees(angle) == pytest.approx(np.arange(0, 360, 45))
    with pytest.raises(Refusal, match="at least 8"):
        check_turn([1.0] * 7, "turn")
