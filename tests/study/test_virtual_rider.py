"""Virtual riders against published strokes, and a virtual ride against the mechanics."""

from __future__ import annotations

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import Ring
from analysis_lib.study.synthetic.virtual_ride import TurnVariation, ride_trial
from analysis_lib.study.synthetic.virtual_rider import (
    QUASI_STATIC_AMPLITUDES,
    QUASI_STATIC_PEAKS_DEG,
    LegProfile,
    draw_rider,
    two_leg_phase_deg,
)

# Tangential pedal force at 0, 15, ..., 345 degrees of the crank cycle, N: Park & Caldwell 2021, J Sport Health Sci
# 10:99 (15 cyclists, 31.35 rpm, cranks of 170 mm).
TANGENTIAL_FORCE_N = [
    *(32.7, 66.4, 105.6, 143.3, 177.0, 205.5, 225.8, 232.2, 218.6, 182.6, 128.3, 67.6),
    *(20.1, -5.9, -21.4, -33.9, -42.8, -47.0, -45.8, -39.7, -29.7, -17.8, -5.4, 9.2),
]
EVERY_DEGREE = np.radians(np.arange(360.0))
STILL = TurnVariation(torque_sd=0.0, cadence_sd=0.0, phase_sd_deg=0.0)


def test_the_quasi_static_profile_is_the_measured_one():
    leg = LegProfile(1.0, QUASI_STATIC_AMPLITUDES, QUASI_STATIC_PEAKS_DEG)
    shape = np.array(TANGENTIAL_FORCE_N) / np.mean(TANGENTIAL_FORCE_N)
    # Four harmonics leave out the fifth and above: 3 % of the peak at most.
    assert leg.torque(np.radians(np.arange(0, 360, 15))) == pytest.approx(shape, abs=0.11)
    # Published for the same data: amplitudes of harmonics 1 to 4 over a mean of 10.804 N m.
    assert np.array(QUASI_STATIC_AMPLITUDES) * 10.804 == pytest.approx(
        [22.876, 5.727, 1.188, 0.980], abs=0.01
    )
    assert two_leg_phase_deg(leg, leg) == pytest.approx(101.79, abs=0.05)


def draw_many(riders: int = 40):
    return [
        draw_rider(f"R{number}", "RO", np.random.default_rng([3, number]), 0.005) for number in range(riders)
    ]


def both_legs(model, power_W: float):
    left, right = (model.leg(side, power_W, model.cadence_rpm) for side in ("left", "right"))
    return left, right, right.torque(EVERY_DEGREE) + left.torque(EVERY_DEGREE + np.pi)


@pytest.mark.parametrize("power_W", [130.0, 200.0, 270.0])
def test_virtual_strokes_lie_where_published_ones_do(power_W):
    for model in draw_many():
        _, right, total = both_legs(model, power_W)
        # Mean torque = 9.5493 P / rpm, an identity.
        assert total.mean() == pytest.approx(9.5493 * power_W / model.cadence_rpm, rel=1e-5)
        assert 0.46 <= model.left_share <= 0.54  # published range 0.40 to 0.60
        # Peak of one leg at 80 to 120 degrees at 80 to 100 rpm (general knowledge of the field).
        assert 80 <= right.torque(EVERY_DEGREE).argmax() <= 125
        # Second harmonic of the two-leg torque over its mean: 0.5 to 0.9 at 60 to 100 rpm (general knowledge).
        ratio = 2 * abs(np.fft.rfft(total)[2]) / total.sum()
        assert 0.4 <= ratio <= 1.05
        # Downstroke share of the work: 1.17 in Park & Caldwell 2021, 0.96 to 0.99 in elite riders (Kautz 1991).
        downstroke = right.torque(EVERY_DEGREE[:180]).sum() / right.torque(EVERY_DEGREE).sum()
        assert 0.95 <= downstroke <= 1.35


def test_a_faster_cadence_brings_a_later_peak_and_a_deeper_upstroke():
    # Direction from the field's general knowledge: peak torque later, upstroke more negative as cadence rises.
    for model in draw_many(10):
        slow, fast = (model.leg("right", 200.0 * rpm / 90, rpm) for rpm in (60.0, 110.0))
        assert slow.mean_Nm == pytest.approx(fast.mean_Nm)
        assert fast.peaks_deg[1] > slow.peaks_deg[1]
        assert fast.torque(EVERY_DEGREE).min() < slow.torque(EVERY_DEGREE).min()


def test_left_and_right_second_harmonics_add():
    left, right, total = both_legs(draw_many(1)[0], 200.0)
    by_fft = np.degrees(-np.angle(np.fft.rfft(total)[2])) / 2 % 180
    assert two_leg_phase_deg(left, right) == pytest.approx(by_fft, abs=1e-9)
    moved = two_leg_phase_deg(left.shifted(7.0), right.shifted(7.0))
    assert moved == pytest.approx(two_leg_phase_deg(left, right) + 7.0, abs=1e-9)


def ride_of(ring: Ring, variation: TurnVariation, duration_s: float = 20.0):
    model = draw_many(1)[0]
    left, right, total = both_legs(model, 200.0)
    drivetrain = Drivetrain(ring, mount_deg=70.0, sprocket_teeth=17, wheel_inertia_kgm2=3.5)
    ride = ride_trial(
        {"left": left, "right": right}, drivetrain, 88.0, duration_s, variation, np.random.default_rng(5)
    )
    return ride, total, drivetrain


@pytest.mark.parametrize("ring", [Ring.round(50), Ring.ellipse(50, 1.13)])
def test_power_is_mean_torque_times_turns_whatever_the_ring(ring):
    ride, total, _ = ride_of(ring, STILL)
    turn_s = 60 / 88.0
    # Over whole turns: power = (mean torque over angle) x 2 pi / duration of a turn, an identity.
    assert ride.power_W(0.0, 20 * turn_s) == pytest.approx(total.mean() * 2 * np.pi / turn_s, rel=1e-3)


def test_the_crank_turns_as_the_ring_makes_it():
    ride, _, drivetrain = ride_of(Ring.ellipse(50, 1.13), STILL)
    speed = np.diff(ride.crank_rad) / np.diff(ride.time_s)
    at = (ride.crank_rad[1:] + ride.crank_rad[:-1]) / 2
    # With inertia, crank speed x gear (the chain's speed) varies far less than crank speed itself.
    chain = speed * drivetrain.gear(at)
    assert np.ptp(speed) / speed.mean() > 0.10
    assert np.ptp(chain) / chain.mean() < 0.02


def test_turns_are_correlated_as_asked():
    variation = TurnVariation(correlation=0.6)
    series = variation.draw(200_000, 0.04, np.random.default_rng(1))
    assert series.std() == pytest.approx(0.04, rel=0.02)
    assert np.corrcoef(series[1:], series[:-1])[0, 1] == pytest.approx(0.6, abs=0.01)
    # Effective number of turns n (1 - r) / (1 + r), so the SE of the mean of 100 turns is 0.04 / sqrt(25).
    means = series.reshape(-1, 100).mean(axis=1)
    assert means.std() == pytest.approx(0.04 / 5, rel=0.05)
