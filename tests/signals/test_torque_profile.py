"""The torque phase and the harmonics, with their half-bin traps."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from analysis_lib.refusals import Refusal
from analysis_lib.signals.torque_profile import (
    harmonic_angle_deg,
    positive_torque_centre,
    profile_harmonics,
    torque_at_edges,
    torque_phase_deg,
    wrap_deg,
)

ANGLES = np.radians(np.arange(360))


def axial_gap(a, b, period=180.0):
    return abs((a - b + period / 2) % period - period / 2)


def bin_means(torque, bins=360):
    edges = np.linspace(0, 2 * np.pi, bins + 1)
    return np.array([quad(torque, low, high)[0] / (high - low) for low, high in itertools.pairwise(edges)])


@given(phase=st.floats(0, 179.999), share=st.floats(0.01, 2), angles=st.integers(5, 720))
def test_the_phase_of_a_pure_second_harmonic_is_its_peak(phase, share, angles):
    """T = T₀[1 + A cos 2(θ − P)] peaks at P and P + 180 by its definition."""
    theta = 2 * np.pi * np.arange(angles) / angles
    found = torque_phase_deg(20 * (1 + share * np.cos(2 * (theta - np.radians(phase)))))
    assert 0 <= found < 180
    assert axial_gap(found, phase) < 1e-7


@given(turn=st.integers(0, 359), scale=st.floats(0.1, 10), shift=st.floats(-20, 20))
def test_rotating_the_zero_shifts_the_phase_and_scaling_does_not(turn, scale, shift):
    torque = 20 + 12 * np.cos(2 * ANGLES - 3.5) + 3 * np.sin(ANGLES) + 2 * np.cos(4 * ANGLES)
    turned = scale * np.roll(torque, turn) + shift
    assert axial_gap(torque_phase_deg(turned), torque_phase_deg(torque) + turn) < 1e-8


def test_half_a_degree_between_bins_and_samples():
    """Bin means (scipy quad) of a torque centred on 101.79°; taken for samples they would say 101.29°."""
    means = bin_means(lambda theta: 20 + 11 * np.cos(2 * (theta - np.radians(101.79))))
    assert torque_phase_deg(means) == pytest.approx(101.29, abs=1e-9)
    assert torque_phase_deg(torque_at_edges(means)) == pytest.approx(101.79, abs=1e-9)


def test_harmonics_of_bin_means_are_those_of_the_torque():
    """Amplitudes and peaks put in come out, though means over 10° weaken and delay them."""
    amplitudes, peaks = np.array([22.0, 5.5, 1.2, 0.9]), np.array([92.0, 103.0, 100.0, 40.0])

    def torque(theta):
        return 11 + sum(
            amplitudes[k - 1] * np.cos(k * (theta - np.radians(peaks[k - 1]))) for k in range(1, 5)
        )

    harmonics = profile_harmonics(bin_means(torque, 36), 4)
    np.testing.assert_allclose(np.abs(harmonics), amplitudes, rtol=1e-10)
    found = [float(harmonic_angle_deg(harmonics[k - 1], k)) for k in range(1, 5)]
    np.testing.assert_allclose(found, [p % (360 / k) for k, p in enumerate(peaks, 1)], atol=1e-9)
    np.testing.assert_allclose(
        torque_at_edges(bin_means(torque, 36)), torque(np.radians(np.arange(0, 360, 10))), atol=1e-9
    )


def test_one_legs_torque_is_centred_by_its_positive_part():
    """Positive from 50° to 150° alone, evenly: the circular mean is the middle, 100°."""
    profile = np.where((np.arange(360) >= 50) & (np.arange(360) < 150), 30.0, -5.0)
    assert harmonic_angle_deg(positive_torque_centre(profile), 1) == pytest.approx(100.0, abs=1e-9)


def test_an_angle_just_below_zero_is_zero_and_not_a_whole_period():
    assert wrap_deg(-1e-18, 180.0) == 0.0
    assert wrap_deg(np.array([-1.0, 180.0, 359.0]), 180.0).tolist() == [179.0, 0.0, 179.0]


@pytest.mark.parametrize(
    "torque",
    [
        np.full(360, 20.0),
        20 + np.cos(ANGLES),
        np.zeros(360),
        np.ones(4),
        np.ones((3, 360)),
        np.append(ANGLES, np.nan),
    ],
)
def test_a_torque_without_a_phase_is_refused(torque):
    with pytest.raises(Refusal):
        torque_phase_deg(torque)
