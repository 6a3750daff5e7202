"""Whole curves: a published one, exact enumeration, wrapping, and a reference library at one angle."""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest
import worked_crossovers as worked
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


# ---------------------------------------------------------------- adjusted for sequence


def two_sequences(seed, first=5, second=6, drift=3.0, angles=24, effect=0.0):
    """Curves of riders of AB and of BA, to whose differences a period effect adds and takes away."""
    sequence = np.array(["AB"] * first + ["BA"] * second)
    curves = smooth_noise(np.random.default_rng(seed), first + second, angles) + effect
    return curves + drift * np.where(sequence == "AB", 1.0, -1.0)[:, None], sequence


def test_adjusted_mean_and_t_are_those_of_the_ring_effect():
    # Senn, Cross-over Trials in Clinical Research, 2nd ed. 2002, ch. 3: 46.6, SE 10.8, t 4.3 on 11 df (digits from R)
    first = np.diff(np.array(worked.FORMOTEROL_FIRST, float)).ravel() * -1
    second = np.diff(np.array(worked.SALBUTAMOL_FIRST, float)).ravel()
    result = paired_curves(np.append(first, second)[:, None], sequence=["FS"] * 7 + ["SF"] * 6)
    found = (result.mean[0], result.se[0], result.t[0])
    assert found == pytest.approx((46.607143, 10.776560, 4.324863), abs=6e-7)
    assert (result.df, result.n, result.flips) == (11, 13, 1716)
    # At one angle the max-t is the exact permutation t test of the period differences
    expected = stats.permutation_test(
        (first, -second), lambda a, b: abs(stats.ttest_ind(a, b).statistic), n_resamples=np.inf,
        permutation_type="independent", alternative="greater",
    )  # fmt: skip
    assert result.p == pytest.approx(expected.pvalue, abs=1e-12)
    assert "all 1716 ways" in result.method and "adjusted for sequence" in result.method


def test_max_over_angles_of_relabelled_sequences_by_plain_enumeration():
    curves, sequence = two_sequences(1, 3, 5)
    turned = curves * np.where(sequence == "AB", 1.0, -1.0)[:, None]
    largest = []
    for chosen in itertools.combinations(range(8), 3):
        members = np.isin(np.arange(8), chosen)
        largest.append(np.abs(stats.ttest_ind(turned[members], turned[~members]).statistic).max())
    result = paired_curves(curves, 0.8, sequence=sequence)
    assert result.p == np.mean(np.array(largest) >= np.abs(result.t).max() - 1e-9)
    assert result.critical_t == pytest.approx(np.sort(largest)[55 - int(0.2 * 56)], rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.floats(-50, 50), st.sampled_from(["AB BA", "AB BA AA BB"]))
def test_period_effects_neither_shift_nor_widen_an_adjusted_band(seed, drift, names):
    sequences = names.split()
    sequence = [sequences[i % len(sequences)] for i in range(12)]
    # What periods add averages to zero over sequences that mirror one another
    added = dict(zip(sequences, (drift, -drift, 2 * drift, -2 * drift), strict=False))
    curves = smooth_noise(np.random.default_rng(seed), 12, 24)
    before = paired_curves(curves, sequence=sequence)
    after = paired_curves(curves + np.array([added[name] for name in sequence])[:, None], sequence=sequence)
    np.testing.assert_allclose(after.mean, before.mean, atol=1e-9)
    np.testing.assert_allclose(after.high, before.high, atol=1e-9)
    assert after.p == before.p


def test_signs_are_flipped_where_relabelling_is_too_coarse():
    # 3 + 3 riders: 20 ways, floor 2/20; 64 sign patterns reach 2/64
    curves, sequence = two_sequences(2, 3, 3, effect=30.0)
    result = paired_curves(curves, sequence=sequence)
    assert result.p == 2 / 64 and "sign-flip" in result.method and "2 sequences" in result.method
    # 5 + 5 riders: floor 2/252, above a tenth of 5 %; 5 + 6: 1/462
    assert paired_curves(two_sequences(2, 5, 5)[0], sequence=["AB"] * 5 + ["BA"] * 5).flips == 1024
    assert paired_curves(two_sequences(2)[0], sequence=["AB"] * 5 + ["BA"] * 6).flips == 462


def test_one_sequence_is_no_adjustment():
    curves, _ = two_sequences(3)
    one, other = paired_curves(curves), paired_curves(curves, sequence=["AB"] * 11)
    assert (one.p, one.critical_t, one.df) == (other.p, other.critical_t, other.df)


def test_many_riders_are_relabelled_at_random():
    curves, sequence = two_sequences(4, 10, 10, effect=9.0)
    result = paired_curves(curves, seed=3, sequence=sequence)
    assert result.p == 1 / 10000 and "random 9999" in result.method
    assert result.critical_t == paired_curves(curves, seed=3, sequence=sequence).critical_t


@pytest.mark.parametrize(("first", "second"), [(4, 4), (3, 5), (3, 3), (5, 6)])
def test_level_of_adjusted_bands_under_a_period_effect(first, second):
    # 400 studies: Monte Carlo standard error 0.011. Without adjustment the band is so wide that none is found.
    found = plain = 0
    for seed in range(400):
        curves, sequence = two_sequences(seed, first, second, drift=2.0)
        found += paired_curves(curves, sequence=sequence).p <= 0.05
        plain += paired_curves(curves).p <= 0.05
    assert 0.015 < found / 400 < 0.062 + 3 * 0.011
    assert plain / 400 < 0.01


@pytest.mark.parametrize(
    ("sequence", "words"),
    [
        (["AB", "BA"], "2 labels for 4 riders"),
        (["AB", "BA", None, "AB"], "3 labels for 4 riders"),
        ([*"abcd"], "4 riders in 4 sequences"),
        (["AB", "AB", "BA", "BA"], "of a sequence"),
    ],
)
def test_sequences_that_cannot_be_used_are_refused(sequence, words):
    with pytest.raises(Refusal, match=words):
        paired_curves([[1.0], [1.0], [2.0], [2.0]], sequence=sequence)


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
