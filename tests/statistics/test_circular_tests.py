"""Tests on angles against the worked examples of Zar, and tests of the limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import circular_mean
from analysis_lib.statistics.circular_tests import (
    paired_test,
    rayleigh_test,
    second_order_mean,
    second_order_test,
    v_test,
    watson_williams_test,
)

# All of Zar, Biostatistical Analysis, 5th ed.
ZAR_26_4 = [45, 55, 81, 96, 110, 117, 132, 154]
ZAR_27_2 = [66, 75, 86, 88, 88, 93, 97, 101, 118, 130]
ZAR_27_7 = [[94, 65, 45, 52, 38, 47, 73, 82, 90, 40, 87], [77, 70, 61, 45, 50, 35, 48, 65, 36]]
ZAR_27_8 = [
    [135, 145, 125, 140, 165, 170],
    [150, 130, 175, 190, 180, 220],
    [140, 165, 185, 180, 125, 175, 140],
]
ZAR_26_8_ANGLES = [160, 169, 117, 140, 186, 134, 171]
ZAR_26_8_LENGTHS = [0.8954, 0.7747, 0.4696, 0.8794, 0.3922, 0.6952, 0.3338]


def test_rayleigh_example_27_1():
    # z = 5.448, 0.001 < p < 0.002 from the table
    test = rayleigh_test(ZAR_26_4)
    assert test.statistic == pytest.approx(5.448, abs=6e-4)
    assert 0.001 < test.p < 0.002
    # More digits of z, and of p by Zar's formula (27.4), recomputed in R; the series in 1/n gives 0.00164420
    assert test.statistic == pytest.approx(5.447875, abs=5.1e-7)
    assert test.p == pytest.approx(0.00185164, abs=5.1e-9)


def test_rayleigh_p_against_simulation():
    rng = np.random.default_rng(0)
    theta = rng.uniform(0, 360, size=(100_000, 8))
    z = 8 * np.abs(np.exp(1j * np.radians(theta)).mean(axis=1)) ** 2
    for angles in ([0, 20, 40, 60, 100, 150, 220, 270], [0, 20, 40, 60, 100, 120, 130, 200]):
        test = rayleigh_test(angles)
        share = np.mean(z >= test.statistic)
        assert test.p == pytest.approx(share, abs=4 * np.sqrt(share / 100_000) + 0.0005)


def test_v_example_27_2():
    # mu0 = 90°: V = 9.498, u = 4.248, p < 0.0005
    test = v_test(ZAR_27_2, 90)
    assert test.statistic / np.sqrt(2 / 10) == pytest.approx(9.498, abs=6e-4)
    assert test.statistic == pytest.approx(4.248, abs=1.1e-3)
    # The series is −6e-7 here; half of Rayleigh's p for R = 9.498 stands in
    assert test.p == pytest.approx(np.exp(np.sqrt(41 + 4 * (100 - 9.498**2)) - 21) / 2, rel=5e-3)
    assert test.p < 0.0005


def test_means_and_v_of_astropy():
    astropy_stats = pytest.importorskip("astropy.stats")
    radians = np.radians(ZAR_26_4)
    mean = circular_mean(ZAR_26_4)
    assert np.radians(mean.angle_deg) == pytest.approx(float(astropy_stats.circmean(radians)), rel=1e-12)
    assert mean.resultant_length == pytest.approx(1 - float(astropy_stats.circvar(radians)), rel=1e-12)
    angles = [0, 30, 60, 80, 100, 300]
    theirs = float(astropy_stats.vtest(np.radians(angles), mu=np.radians(40)))
    assert v_test(angles, 40).p == pytest.approx(theirs, rel=1e-9)


def test_v_p_against_simulation():
    rng = np.random.default_rng(1)
    u = np.cos(rng.uniform(0, 2 * np.pi, size=(200_000, 6))).sum(axis=1) * np.sqrt(2 / 6)
    test = v_test([0, 30, 60, 80, 100, 300], 0)
    share = np.mean(u >= test.statistic)
    assert test.p == pytest.approx(share, abs=4 * np.sqrt(share / 200_000))


# Printed F 1.61, p 0.22 and F 1.86, p 0.19; more digits recomputed, with K from Fisher's approximation of κ. Ours is the
# κ itself, which changes the fifth digit of F.
@pytest.mark.parametrize(
    ("samples", "f", "p", "df"),
    [(ZAR_27_7, 1.612783, 0.22027, (1, 18)), (ZAR_27_8, 1.864868, 0.18706, (2, 16))],
)
def test_watson_williams_examples_27_7_and_27_8(samples, f, p, df):
    test = watson_williams_test(samples)
    assert test.statistic == pytest.approx(f, abs=1e-4)
    assert test.p == pytest.approx(p, abs=2e-5)
    assert test.df == df
    assert test.note == ""


def test_watson_williams_of_batschelet():
    # Batschelet 1981, Circular Statistics in Biology, p. 99, example 6.2.1 (the angles as in the manual of R's package
    # circular): F 8.73 printed, with κ read from a table; R prints means 1.988969 and −9.000615
    treated, control = np.repeat([-20, -10, 0], [1, 7, 2]), np.repeat([-10, 0, 10, 20], [3, 3, 3, 1])
    assert circular_mean(control).signed_deg == pytest.approx(1.988969, abs=5.1e-7)
    assert circular_mean(treated).signed_deg == pytest.approx(-9.000615, abs=5.1e-7)
    test = watson_williams_test([treated, control])
    assert test.statistic == pytest.approx(8.73, abs=0.05)
    assert test.statistic == pytest.approx(8.7037, abs=1e-3)
    assert test.p == pytest.approx(0.008563, abs=5e-6)
    assert test.df == (1, 18)


def test_watson_williams_of_close_angles_is_the_analysis_of_variance():
    rng = np.random.default_rng(2)
    samples = [rng.normal(mean, 0.5, size=7) for mean in (10, 10.5, 11)]
    expected = stats.f_oneway(*samples)
    assert watson_williams_test(samples).statistic == pytest.approx(expected.statistic, rel=1e-3)


def test_scattered_samples_carry_a_doubt():
    assert "scattered" in watson_williams_test([[0, 90, 200, 10], [30, 140, 250, 20]]).note


def test_second_order_example_26_8_and_27_14():
    # mean 152°, r 0.59634; F = 16.66 on 2 and 5 degrees of freedom (recomputed; p 0.0061)
    angle, length = second_order_mean(ZAR_26_8_ANGLES, ZAR_26_8_LENGTHS)
    assert angle == pytest.approx(152.17, abs=0.006)
    assert length == pytest.approx(0.59634, abs=1e-5)
    test = second_order_test(ZAR_26_8_ANGLES, ZAR_26_8_LENGTHS)
    assert test.statistic == pytest.approx(16.66, abs=0.006)
    assert test.p == pytest.approx(0.0061, abs=6e-5)
    assert test.df == (2, 5)


def test_paired_angles_that_turn_together():
    rng = np.random.default_rng(3)
    a = rng.uniform(80, 120, size=10)
    turned = a + 8 + rng.normal(0, 2, size=10)
    assert paired_test(a, turned).p < 1e-3
    assert paired_test(a, a + rng.normal(0, 2, size=10)).p > 0.01
    # For small angles around 90° the cosine carries the difference; F is then above t²/2 of a paired t
    assert paired_test(a, turned).df == (2, 8)


def test_paired_null_is_kept():
    rng = np.random.default_rng(4)
    p = []
    for _ in range(1500):
        a = rng.vonmises(1.5, 20, size=8)
        p.append(paired_test(np.degrees(a + rng.normal(0, 0.1, 8)), np.degrees(a + rng.normal(0, 0.1, 8))).p)
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 1500))


@pytest.mark.parametrize("test", [rayleigh_test, lambda a, axial=False: v_test(a, 50 / (1 + axial), axial)])
def test_axial_is_the_test_of_doubled_angles(test):
    angles = np.array([10.0, 50, 70, 90, 130])
    assert test(angles / 2, axial=True).p == pytest.approx(test(angles).p)


def test_axial_groups_pairs_and_means():
    samples = [np.array(sample) for sample in ZAR_27_7]
    halves = [sample / 2 + 180 for sample in samples]
    assert watson_williams_test(halves, axial=True).p == pytest.approx(watson_williams_test(samples).p)
    a, b = samples[0][:9], samples[1]
    assert paired_test(a / 2, b / 2, axial=True).p == pytest.approx(paired_test(a, b).p)
    angle, _ = second_order_mean(np.array(ZAR_26_8_ANGLES) / 2, ZAR_26_8_LENGTHS, axial=True)
    assert angle == pytest.approx(152.17 / 2, abs=0.006)


def test_sentences():
    assert "z = 5.448" in rayleigh_test(ZAR_26_4).sentence()
    assert "F(1, 18)" in watson_williams_test(ZAR_27_7).sentence()


@pytest.mark.parametrize(
    ("call", "what"),
    [
        (lambda: rayleigh_test([1]), "at least 2"),
        (lambda: watson_williams_test([[1, 2]]), "two or more"),
        (lambda: watson_williams_test([[1, 1], [2, 2]]), "equal angles"),
        (lambda: paired_test([1, 2, 3], [1, 2, 3, 4]), "as many of each"),
        (lambda: paired_test([1, 2, 3], [1, 2, 3]), "do not vary"),
        (lambda: second_order_test([1, 2, 3], [0.5, 0.5, 1.5]), "resultant lengths"),
    ],
)
def test_refusals(call, what):
    with pytest.raises(Refusal, match=what):
        call()
