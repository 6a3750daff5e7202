"""Whole curves: a published one, exact enumeration, wrapping, and a reference library at one angle."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.curves import find_runs, paired_curves


def smooth_noise(rng, riders, angles=72, width=4.0):
    """White noise smoothed around the circle by a Gaussian of the given standard deviation, variance 1."""
    distance = np.minimum(np.arange(angles), angles - np.arange(angles))
    kernel = np.exp(-0.5 * (distance / width) ** 2)
    spectrum = np.fft.rfft(kernel / np.sqrt((kernel**2).sum()))
    return np.fft.irfft(np.fft.rfft(rng.normal(size=(riders, angles))) * spectrum, n=angles)


def test_plantar_arch_angle():
    # Pataky's spm1d, data set PlantarArchAngle (Caravaggi et al. 2010), 10 subjects at 101 nodes. Its t
    # curve, and the exact sign-flip max-t of all 1024 patterns: critical 3.60834, p = 4/1024
    spm1d = pytest.importorskip("spm1d")
    data = spm1d.data.uv1d.tpaired.PlantarArchAngle()
    result = paired_curves(data.YA - data.YB)
    expected = [0.98607, -0.15704, 0.55093, 1.09059, 6.55176]
    np.testing.assert_allclose(result.t[[0, 25, 50, 75, 100]], expected, atol=6e-6)
    np.testing.assert_allclose(result.t, spm1d.stats.ttest_paired(data.YA, data.YB).z, atol=1e-12)
    assert result.critical_t == pytest.approx(3.60834, abs=6e-6)
    assert result.p == 4 / 1024
    assert (result.flips, result.df) == (1024, 9)


@pytest.mark.parametrize("seed", range(4))
def test_one_angle_is_the_exact_sign_flip_t_test_of_scipy(seed):
    values = np.random.default_rng(seed).normal(0.5, 1, size=9)
    expected = stats.permutation_test(
        (values,), lambda x: abs(stats.ttest_1samp(x, 0).statistic), permutation_type="samples",
        n_resamples=np.inf, alternative="greater",
    )  # fmt: skip
    result = paired_curves(values[:, None])
    assert result.p == pytest.approx(expected.pvalue, abs=1e-12)
    null = np.sort(expected.null_distribution)
    assert result.critical_t == pytest.approx(null[511 - int(0.05 * 512)], rel=1e-9)


def test_max_over_angles_by_plain_enumeration():
    curves = smooth_noise(np.random.default_rng(3), 7, 24) + 0.4
    largest = []
    for code in range(2**7):
        signs = np.array([1 - 2 * (code >> k & 1) for k in range(7)])
        largest.append(np.abs(stats.ttest_1samp(curves * signs[:, None], 0).statistic).max())
    result = paired_curves(curves)
    assert result.p == np.mean(np.array(largest) >= largest[0] - 1e-9)
    assert result.critical_t == pytest.approx(np.sort(largest)[127 - int(0.05 * 128)], rel=1e-9)


def test_random_patterns_agree_with_all_of_them():
    # 14 riders are enumerated; the same curves and a fifteenth rider who adds almost nothing are sampled
    rng = np.random.default_rng(6)
    curves = smooth_noise(rng, 14) + 0.6
    exact = paired_curves(curves)
    sampled = paired_curves(np.vstack([curves, 1e-6 * smooth_noise(rng, 1)]))
    # A rider who adds nothing shrinks Σ s d/sqrt(n Σ d²) alike for all patterns, so their order and p stay
    spread = np.sqrt(exact.p * (1 - exact.p) / 9999)
    assert sampled.p == pytest.approx(exact.p, abs=4 * spread + 1e-4)
    assert sampled.flips == 9999 and "random 9999" in sampled.method


def test_random_patterns_follow_the_seed_and_never_give_zero():
    curves = smooth_noise(np.random.default_rng(7), 20) + 50
    assert paired_curves(curves, seed=3).critical_t == paired_curves(curves, seed=3).critical_t
    assert paired_curves(curves).p == 1 / 10000


def test_rotating_the_circle_rotates_the_result():
    curves = 0.2 * smooth_noise(np.random.default_rng(8), 8) + np.where(np.arange(72) < 12, 2.0, 0.0)
    before, after = paired_curves(curves), paired_curves(np.roll(curves, 67, axis=1))
    assert after.critical_t == pytest.approx(before.critical_t, rel=1e-12)
    assert after.p == before.p
    np.testing.assert_allclose(after.mean, np.roll(before.mean, 67))
    ((first, last),) = before.excludes_zero()
    assert after.excludes_zero() == [((first + 67) % 72, (last + 67) % 72)]
    assert after.excludes_zero()[0][0] > after.excludes_zero()[0][1]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(6, 10), st.floats(0, 2), st.sampled_from([0.8, 0.9, 0.95]))
def test_band_excludes_zero_somewhere_exactly_when_p_is_small(seed, riders, shift, level):
    result = paired_curves(smooth_noise(np.random.default_rng(seed), riders, 24) + shift, level)
    assert bool(result.excludes_zero()) == (result.p <= 1 - level + 1e-12)
    marked = np.zeros(24, dtype=bool)
    for first, last in result.excludes_zero():
        marked[np.arange(first, last + 1 if last >= first else last + 25) % 24] = True
    np.testing.assert_array_equal(marked, (result.low > 1e-9) | (result.high < -1e-9))


def test_few_riders_cannot_exclude_zero_and_the_method_says_the_floor():
    result = paired_curves(smooth_noise(np.random.default_rng(9), 5) + 100)
    assert result.p == 2 / 32
    assert result.excludes_zero() == []
    assert "smallest possible p 0.062" in result.method
    assert "includes zero at every angle" in result.sentence()


def test_scale_and_sign():
    curves = smooth_noise(np.random.default_rng(10), 8) + 0.5
    one, other = paired_curves(curves), paired_curves(-3 * curves)
    np.testing.assert_allclose(other.t, -one.t)
    np.testing.assert_allclose(other.low, -3 * one.high)
    assert other.p == one.p


def test_riders_who_mirror_one_another_give_an_infinite_pattern_and_no_crash():
    result = paired_curves([[1.0], [-1.0], [1.0]])
    assert np.isinf(result.critical_t) and result.p == 1.0


@pytest.mark.parametrize(
    ("marked", "runs"),
    [
        ([0, 0, 0], []),
        ([1, 1, 1], [(0, 2)]),
        ([0, 1, 1, 0], [(1, 2)]),
        ([1, 0, 0, 1], [(3, 0)]),
        ([1, 1, 0, 1, 0, 1], [(3, 3), (5, 1)]),
    ],
)
def test_runs_on_a_circle(marked, runs):
    assert find_runs(np.array(marked, dtype=bool)) == runs


def test_frame_and_sentence():
    curves = smooth_noise(np.random.default_rng(11), 10) + np.where(np.arange(72) < 12, 3.0, 0.0)
    result = paired_curves(curves)
    assert result.to_frame()["angle_deg"].tolist()[:3] == [0.0, 5.0, 10.0]
    assert "excludes zero from " in result.sentence() and "° to " in result.sentence()


def test_4096_patterns_at_360_angles_take_less_than_50_ms():
    curves = smooth_noise(np.random.default_rng(12), 12, 360, 15)
    durations = []
    for _ in range(5):
        start = time.perf_counter()
        assert paired_curves(curves).flips == 4096
        durations.append(time.perf_counter() - start)
    assert min(durations) < 0.050


@pytest.mark.parametrize(
    ("differences", "what"),
    [
        ([1.0, 2.0], "shape"),
        ([[1.0, 2.0]], "at least two"),
        ([[1.0, 2.0], [np.nan, 3.0]], "row 2, column 1"),
        ([[1.0, 2.0], [1.0, 3.0]], "column 1 – got the same difference"),
    ],
)
def test_refusals(differences, what):
    with pytest.raises(Refusal, match=what):
        paired_curves(differences)
