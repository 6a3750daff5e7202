"""Mean angles against Zar's and Fisher's examples, and the interval against its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import CircularMean, axial_mean, circular_mean

# Zar, Biostatistical Analysis, 5th ed., example 26.4: mean 99°, r 0.82522
ZAR_26_4 = [45, 55, 81, 96, 110, 117, 132, 154]
# Fisher, Statistical Analysis of Circular Data, 1993, data set B11: mean 3.1°, r 0.83, dispersion 0.24
FISHER_B11 = [
    0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43, 45, 147, 298, 329, 332, 335, 340, 350, 354, 356, 357,
]  # fmt: skip
# Fisher 1993, data set B6, second set: mean 247.6°, 95 % interval 232.7° to 262.5°
FISHER_B6_SET_2 = [
    294, 301, 329, 315, 277, 281, 254, 245, 272, 242, 177, 257, 177, 229, 250,
    166, 232, 245, 224, 186, 257, 267, 241, 239, 287, 229, 290, 214, 215, 224,
]  # fmt: skip


def test_zar_example_26_4():
    mean = circular_mean(ZAR_26_4)
    assert mean.angle_deg == pytest.approx(99, abs=0.5)
    assert mean.angle_deg == pytest.approx(98.98775, abs=6e-6)
    assert mean.resultant_length == pytest.approx(0.82522, abs=6e-6)


def test_zar_example_26_5_of_grouped_angles():
    # Zar 5th ed., example 26.5: 105 angles in 30° bins (counts from memory); mean 162°, r 0.55064
    counts = [0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0]
    mean = circular_mean(np.repeat(np.arange(15, 360, 30), counts))
    assert mean.n == 105
    assert mean.angle_deg == pytest.approx(161.57, abs=0.006)
    assert mean.resultant_length == pytest.approx(0.55064, abs=6e-6)


def test_fisher_dispersion_of_b11():
    mean = circular_mean(FISHER_B11)
    assert mean.angle_deg == pytest.approx(3.10, abs=0.005)
    assert mean.resultant_length == pytest.approx(0.83, abs=0.005)
    assert mean.dispersion == pytest.approx(0.24, abs=0.005)


def test_zar_interval_of_example_26_4_and_fishers_of_b6():
    # Zar 5th ed., sec. 26.7, the same eight angles: 68° to 130°; half-width 30.9335° recomputed by hand with χ² 3.841459:
    # R = 6.601742, cos δ = sqrt(16 (87.16598 − 30.73167)/(32 − 3.841459))/R = 0.857765
    mean = circular_mean(ZAR_26_4)
    bounds = mean.interval(0.95, "zar")
    assert (bounds.low, bounds.high) == pytest.approx((68.054, 129.921), abs=1e-3)
    assert bounds.high - mean.angle_deg == pytest.approx(30.9335, abs=6e-5)
    # Fisher 1993, B6 set 2: printed 232.7° to 262.5°
    fisher = circular_mean(FISHER_B6_SET_2).interval(0.95, "fisher")
    assert (fisher.low, fisher.high) == pytest.approx((232.7, 262.5), abs=0.05)
    with pytest.raises(Refusal, match="form of interval"):
        mean.interval(0.95, "bootstrap")


def test_zars_interval_for_close_angles_and_for_none_in_particular():
    # n = 4, r = 0.98, by hand: R = 3.92, exp(3.841459/4) = 2.612650, sqrt(16 − 0.6336 · 2.612650)/3.92 = 0.966181
    close = CircularMean(0.0, 0.98, 4, 0.02, 360.0)
    assert close.interval(0.95, "zar").high == pytest.approx(14.943, abs=1e-3)
    # Nothing is ruled out where 2R² < nχ²
    wide = circular_mean([0, 90, 180, 275])
    bounds = wide.interval(0.95, "zar")
    assert bounds.high - bounds.low == pytest.approx(360)
    # An axis has the interval of the doubled angles, halved
    axes = axial_mean(np.array(ZAR_26_4) / 2).interval(0.95, "zar")
    assert axes.high - axes.low == pytest.approx(30.9335, abs=6e-5)


def test_fisher_large_sample_interval_of_b6():
    # Fisher 1993 sec. 4.4: arcsin(1.96 sqrt(dispersion/n)) gives the printed 232.7° to 262.5°; ours has t
    # and n − 1
    mean = circular_mean(FISHER_B6_SET_2)
    assert mean.angle_deg == pytest.approx(247.6, abs=0.05)
    half = math.degrees(math.asin(1.959964 * math.sqrt(mean.dispersion / mean.n)))
    assert (mean.angle_deg - half, mean.angle_deg + half) == pytest.approx((232.7, 262.5), abs=0.05)
    ours = mean.interval(0.95)
    sines = [math.sin(math.radians(x)) for x in (half, ours.high - mean.angle_deg)]
    # t(29) = 2.045 (any table of t)
    assert sines[1] / sines[0] == pytest.approx(2.0452 / 1.9600 * math.sqrt(30 / 29), rel=1e-4)


def test_close_angles_give_students_interval():
    angles = 350 + np.array([0.0, 0.4, 1.0, 1.1, 2.0, 2.5])
    expected = stats.t.interval(0.95, 5, angles.mean(), stats.sem(angles))
    mean = circular_mean(angles)
    assert mean.angle_deg == pytest.approx(angles.mean(), abs=1e-3)
    assert (mean.interval().low, mean.interval().high) == pytest.approx(expected, rel=1e-4)
    axial = axial_mean(angles)
    assert axial.angle_deg == pytest.approx(angles.mean() - 180, abs=1e-3)
    width = axial.interval().high - axial.interval().low
    assert width == pytest.approx(expected[1] - expected[0], rel=1e-3)


angles = st.lists(st.floats(0, 60), min_size=3, max_size=12).filter(lambda a: max(a) - min(a) > 1)


@given(angles, st.floats(-720, 720), st.sampled_from([circular_mean, axial_mean]))
def test_turning_all_angles_turns_mean_and_interval(values, turn, mean_of):
    before, after = mean_of(values), mean_of(np.array(values) + turn)
    period = before.turn_deg
    step = (after.angle_deg - before.angle_deg - turn + period / 2) % period - period / 2
    assert step == pytest.approx(0, abs=1e-6)
    assert 0 <= after.angle_deg < period
    one, other = before.interval(), after.interval()
    assert other.high - other.low == pytest.approx(one.high - one.low, rel=1e-6)


@given(angles)
def test_an_axial_mean_is_half_the_mean_of_doubled_angles(values):
    axial, doubled = axial_mean(values), circular_mean(2 * np.array(values))
    assert axial.angle_deg == pytest.approx(doubled.angle_deg / 2, abs=1e-9)
    assert axial.resultant_length == pytest.approx(doubled.resultant_length)
    widths = [m.interval().high - m.interval().low for m in (axial, doubled)]
    assert widths[0] == pytest.approx(widths[1] / 2)


@given(angles, st.lists(st.integers(0, 1), min_size=12, max_size=12))
def test_an_axis_may_be_named_by_either_end(values, ends):
    flipped = np.array(values) + 180 * np.array(ends[: len(values)])
    one, other = axial_mean(values), axial_mean(flipped)
    assert (other.angle_deg - one.angle_deg + 90) % 180 - 90 == pytest.approx(0, abs=1e-9)


def test_scattered_angles_leave_every_angle_open():
    mean = circular_mean([0, 100, 200, 310])
    bounds = mean.interval()
    assert (bounds.low, bounds.high) == pytest.approx((mean.angle_deg - 180, mean.angle_deg + 180))
    axial = axial_mean([0, 50, 100, 155])
    assert axial.interval().high - axial.interval().low == pytest.approx(180)


def test_one_angle_or_equal_angles_have_no_interval():
    assert math.isnan(circular_mean([30]).interval().low)
    assert math.isnan(axial_mean([30.0, 30.0, 210.0]).interval().high)
    assert axial_mean([30.0, 30.0, 210.0]).resultant_length == pytest.approx(1)


def test_differences_have_a_sign():
    assert axial_mean([-5, -3, 179]).signed_deg == pytest.approx(-3, abs=0.01)
    assert circular_mean([350]).signed_deg == pytest.approx(-10)
    assert circular_mean([180]).signed_deg == pytest.approx(180)


def test_coverage_of_six_axes():
    # 2000 samples of von Mises axes: between 93 and 98 % is what the method promises, z would give 87 %
    rng = np.random.default_rng(0)
    inside = 0
    for _ in range(2000):
        mean = axial_mean(np.degrees(rng.vonmises(0, 8, size=6)) / 2)
        bounds = mean.interval()
        inside += bounds.low <= 0 <= bounds.high or bounds.low <= 180 <= bounds.high
    assert 0.93 < inside / 2000 < 0.98


def test_sentence():
    text = axial_mean([80, 95, 101, 104]).sentence()
    assert "95 % interval" in text and "modulo 180°" in text and "t on 3 df" in text


@pytest.mark.parametrize(
    ("mean_of", "values", "what"),
    [
        (circular_mean, [], "at least 1"),
        (circular_mean, [[1.0]], "shape"),
        (circular_mean, [0, 180], "cancel"),
        (axial_mean, [0, 90], "cancel"),
        (circular_mean, [1, np.inf], "angle 2"),
    ],
)
def test_refusals(mean_of, values, what):
    with pytest.raises(Refusal, match=what):
        mean_of(values)
    with pytest.raises(Refusal, match="confidence level"):
        circular_mean([1, 2]).interval(95)
