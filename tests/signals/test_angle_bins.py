"""Work and time by degree, against integration done another way."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from rides import crank_at, leg_torque
from scipy.integrate import quad
from scipy.optimize import brentq

from analysis_lib.signals.angle_bins import SAMPLES_A_BLOCK, integrate_by_angle

DEGREE = math.pi / 180


def split_by_hand(time, crank, torque):
    """Walk from sample to sample and cut at each degree in between, one piece at a time."""
    work, spent = {}, {}
    for i in range(len(time) - 1):
        a, b = crank[i] / DEGREE, crank[i + 1] / DEGREE
        low, high = min(a, b), max(a, b)
        cuts = [edge for edge in range(math.ceil(low), math.floor(high) + 1) if low < edge < high]
        path = [a, *(cuts if b >= a else cuts[::-1]), b]
        for start, end in itertools.pairwise(path):
            begin, finish = (0.0, 1.0) if a == b else ((start - a) / (b - a), (end - a) / (b - a))
            mean = torque[i] + (begin + finish) / 2 * (torque[i + 1] - torque[i])
            degree = math.floor((start + end) / 2)
            work[degree] = work.get(degree, 0.0) + mean * (end - start) * DEGREE
            spent[degree] = spent.get(degree, 0.0) + (finish - begin) * (time[i + 1] - time[i])
    return work, spent


@pytest.mark.parametrize("rate_hz", [50, 100, 1000])
@pytest.mark.parametrize("start_deg", [-0.01, -1e-7, 0.0, 0.01, 200.0])
def test_bin_means_and_times_equal_independent_integration(rate_hz, start_deg):
    """scipy's quad for torque and brentq for time, over the ride as it was before it was sampled.

    Sampling is allowed what linear interpolation can lose: h²/8 of the largest second derivative, h the
    largest step of the angle (a textbook bound).
    """
    time = np.arange(round(4 * rate_hz)) / rate_hz
    crank = crank_at(time, start_deg=start_deg)
    sums = integrate_by_angle(time, crank, [leg_torque(crank)])
    turn = 2 - sums.first_turn  # the turn that begins at 4π
    dense = np.linspace(0, 2 * np.pi, 7200)
    curvature = np.abs(np.gradient(np.gradient(leg_torque(dense), dense), dense)).max()
    torque_bound = curvature * np.diff(crank).max() ** 2 / 8
    time_bound = 2 * np.pi * 1.5 / rate_hz * 0.03 * 4 / rate_hz
    for degree in range(0, 360, 7):
        low, high = (4 * np.pi + at * DEGREE for at in (degree, degree + 1))
        work = quad(leg_torque, low, high, epsabs=1e-12)[0]
        passed = [
            brentq(lambda t, at=at: crank_at(t, start_deg=start_deg) - at, 0, 4, xtol=1e-14)
            for at in (low, high)
        ]
        assert sums.work_J[0][turn, degree] == pytest.approx(work, abs=torque_bound * DEGREE)
        assert sums.time_s[turn, degree] == pytest.approx(passed[1] - passed[0], abs=time_bound)


def test_linear_torque_is_integrated_without_any_error():
    """Torque linear in angle between unevenly placed samples: quad over the same straight lines agrees."""
    rng = np.random.default_rng(3)
    crank = np.cumsum(rng.uniform(0.001, 0.2, 200)) - 0.7
    time, torque = np.cumsum(rng.uniform(0.001, 0.02, 200)), rng.normal(20, 15, 200)
    sums = integrate_by_angle(time, crank, [torque])
    for degree in range(0, 360, 11):
        low, high = degree * DEGREE, (degree + 1) * DEGREE
        inside = crank[(crank > low) & (crank < high)]
        work = quad(np.interp, low, high, args=(crank, torque), points=inside, epsabs=1e-13)[0]
        assert sums.work_J[0][-sums.first_turn, degree] == pytest.approx(work, abs=1e-11)


@pytest.mark.parametrize("jitter_deg", [0.0, 0.3, 5.0])
def test_blocks_and_jitter_agree_with_splitting_by_hand(jitter_deg):
    rng = np.random.default_rng(5)
    time = np.arange(SAMPLES_A_BLOCK + 500) / 1000
    crank = crank_at(time, start_deg=-2.0) + np.radians(jitter_deg) * rng.standard_normal(time.size)
    torque = rng.normal(20, 10, time.size)
    sums = integrate_by_angle(time, crank, [torque])
    work, spent = split_by_hand(time, crank, torque)
    first = sums.first_turn * 360
    by_hand = np.array([work.get(first + degree, 0.0) for degree in range(sums.time_s.size)])
    time_by_hand = np.array([spent.get(first + degree, 0.0) for degree in range(sums.time_s.size)])
    np.testing.assert_allclose(sums.work_J[0].ravel(), by_hand, atol=1e-9)
    np.testing.assert_allclose(sums.time_s.ravel(), time_by_hand, atol=1e-11)


steps = arrays(float, st.integers(2, 60), elements=st.floats(-3.0, 9.0, allow_subnormal=False))


@given(steps=steps, start=st.floats(-20, 20), seed=st.integers(0, 100))
@settings(deadline=None)
def test_all_bins_together_hold_the_work_and_the_time_of_the_path(steps, start, seed):
    """Σ bins = ∫ T dθ by the trapezoidal rule, which is exact for straight lines, whatever the path did."""
    crank = start + np.concatenate([[0.0], np.cumsum(steps)])
    time = np.cumsum(np.random.default_rng(seed).uniform(0.01, 1, crank.size))
    torque = np.random.default_rng(seed + 1).normal(10, 30, crank.size)
    sums = integrate_by_angle(time, crank, [torque, 2 * torque])
    size = np.abs(torque).max() * np.abs(np.diff(crank)).sum() + 1
    assert sums.work_J[0].sum() == pytest.approx(np.trapezoid(torque, crank), abs=1e-11 * size)
    np.testing.assert_allclose(sums.work_J[1], 2 * sums.work_J[0], atol=1e-11 * size)
    assert sums.time_s.sum() == pytest.approx(time[-1] - time[0], rel=1e-11)


@given(steps=steps, start=st.floats(-20, 20))
@settings(deadline=None)
def test_a_bin_between_the_ends_has_a_net_travel_of_one_degree(steps, start):
    """With a torque of 1 N m, work is net travel: a bin's width where the path passed, zero elsewhere."""
    crank = start + np.concatenate([[0.0], np.cumsum(steps)])
    sums = integrate_by_angle(np.arange(crank.size) * 1.0, crank, [np.ones(crank.size)])
    travel = sums.work_J[0].ravel() / DEGREE
    edges = np.arange(travel.size + 1) + 360 * sums.first_turn
    low, high = sorted((crank[0] / DEGREE, crank[-1] / DEGREE))
    passed = np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0, 1)
    np.testing.assert_allclose(travel, np.sign(crank[-1] - crank[0]) * passed, atol=1e-8)
