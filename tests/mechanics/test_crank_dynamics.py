import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.inertia import with_crank_inertia, with_rider
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.start_up import play_start_up
from analysis_lib.mechanics.steady_speed import settle_speeds
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
TORQUE = 26.5 * (1 + 0.75 * np.cos(2 * (ANGLE - math.radians(101))))
QUADRATIC, ERGOMETER = Resistance("quadratic"), Resistance("constant power", 0.3)
OVAL = Drivetrain(Ring.ellipse(46, 1.2), 70.0, wheel_inertia_kgm2=0.3)


def arm_of_level_chain(theta):
    """Gear of the oval by the test's own fixed point of the tangent."""
    radius, a, b = 17 * 0.0127 / (2 * math.pi), OVAL.ring.semi_major_m, OVAL.ring.semi_minor_m
    beta = -0.1
    for _ in range(40):
        psi = beta - theta - math.radians(70)
        arm = math.hypot(a * math.cos(psi), b * math.sin(psi))
        beta = math.asin((radius - arm) / 0.410)
    return arm / radius


GEARS = np.array([arm_of_level_chain(theta) for theta in np.arange(720) * math.pi / 360])


def gear_at(theta):
    return np.interp(theta % (2 * math.pi), np.arange(721) * math.pi / 360, np.append(GEARS, GEARS[0]))


@pytest.mark.parametrize(
    ("resistance", "law"),
    [
        (Resistance(), lambda wheel, level, brake: level),
        (QUADRATIC, lambda wheel, level, brake: level * wheel**2),
        (ERGOMETER, lambda wheel, level, brake: brake),
    ],
)
def test_steady_turn_is_where_time_integration_returns_to(resistance, law):
    """The same start, integrated in time with the test's own arm and law, comes back after one turn."""
    turn = steady_turn(OVAL, make_stroke(TORQUE, 9.0, -1.5), resistance, mean_cadence_rpm=85.0)

    def motion(_, state):
        theta, wheel, brake = state
        gear = gear_at(theta)
        torque = 26.5 * (1 + 0.75 * math.cos(2 * (theta - math.radians(101)))) - 1.5 * (wheel / gear - 9.0)
        following = (turn.level / wheel - brake) / 0.3
        return [wheel / gear, (torque / gear - law(wheel, turn.level, brake)) / 0.3, following]

    start = [0.0, turn.speed_rad_s[0] * gear_at(0.0), turn.wheel_resistance_Nm[0]]
    run = solve_ivp(motion, [0, 60 / 85], start, rtol=1e-9, atol=1e-10, max_step=0.01)
    assert run.y[0, -1] == pytest.approx(2 * math.pi, abs=2e-5)
    assert run.y[1, -1] == pytest.approx(run.y[1, 0], rel=2e-5)
    if resistance.holds_power:
        assert run.y[2, -1] == pytest.approx(run.y[2, 0], rel=2e-5)
    middle = run.t.size // 2
    speed = np.interp(run.y[0, middle], ANGLE, turn.speed_rad_s)
    assert run.y[1, middle] / gear_at(run.y[0, middle]) == pytest.approx(speed, rel=1e-4)


def test_without_speed_dependence_it_is_the_closed_form():
    """Closed form of the drivetrain, itself checked against integration in time."""
    turn = steady_turn(OVAL, make_stroke(TORQUE, 9.0), Resistance(), mean_cadence_rpm=85.0)
    assert turn.speed_rad_s == pytest.approx(OVAL.steady_speed(TORQUE, 85.0), rel=1e-10)
    assert turn.torque_Nm == pytest.approx(TORQUE)
    assert turn.level == pytest.approx(26.5 * 17 / 46, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from([Resistance(), QUADRATIC, ERGOMETER]), st.floats(0.2, 10), st.floats(-4, -0.1))
def test_energy_in_equals_energy_out(resistance, inertia, slope):
    """Work at the crank = work at the wheel, ∮ R·G dθ, and power = work over the time of a turn."""
    drivetrain = Drivetrain(Ring.ellipse(46, 1.15), 70.0, wheel_inertia_kgm2=inertia)
    turn = steady_turn(drivetrain, make_stroke(TORQUE, 9.0, slope), resistance, mean_cadence_rpm=80.0)
    out = np.mean(turn.wheel_resistance_Nm * drivetrain.gear(ANGLE))
    assert turn.torque_Nm.mean() == pytest.approx(out, rel=1e-9)
    assert turn.mean_cadence_rpm == pytest.approx(80.0, rel=1e-9)
    assert turn.power_W == pytest.approx(turn.torque_Nm.mean() * 2 * math.pi * 80 / 60, rel=1e-9)


@pytest.mark.parametrize("resistance", [QUADRATIC, Resistance(), ERGOMETER])
def test_cadence_and_level_find_each_other(resistance):
    stroke = make_stroke(TORQUE, 9.0, -6.0)
    by_cadence = steady_turn(OVAL, stroke, resistance, mean_cadence_rpm=85.0)
    by_level = steady_turn(OVAL, stroke, resistance, level=by_cadence.level)
    assert by_level.mean_cadence_rpm == pytest.approx(85.0, rel=1e-9)
    assert by_level.speed_rad_s == pytest.approx(by_cadence.speed_rad_s, rel=1e-9)


def test_speeds_settle_pass_by_pass_or_are_solved_by_newton():
    """Either way I·d(½Ω²)/dθ = T(ω) − G·R, by differences over 4 degrees; the light and steep one does not settle."""
    stroke = make_stroke(TORQUE, 9.0, -6.0)
    gear, inertias = OVAL.turn_gear(360), np.array([0.05, 0.3])
    start = np.tile(np.full(360, 9.0), (2, 1))
    speeds, settled = settle_speeds(stroke, start, gear, inertias, 85.0)
    assert settled.tolist() == [False, True]
    for inertia, known, speed in zip(inertias, settled, speeds, strict=True):
        drivetrain = replace(OVAL, wheel_inertia_kgm2=inertia)
        turn = steady_turn(drivetrain, stroke, Resistance(), mean_cadence_rpm=85.0)
        energy = inertia * (gear * turn.speed_rad_s) ** 2 / 2
        slope = (np.roll(energy, -2) - np.roll(energy, 2)) / math.radians(4)
        torque = TORQUE - 6.0 * (turn.speed_rad_s - 9.0)
        assert slope == pytest.approx(torque - gear * turn.level, abs=0.05)
        assert np.mean(1 / turn.speed_rad_s) == pytest.approx(60 / 85 / (2 * math.pi), rel=1e-9)
        assert not known or speed == pytest.approx(turn.speed_rad_s, rel=1e-11)


def test_slow_brake_is_a_constant_and_even_torque_gives_its_power():
    stroke = make_stroke(TORQUE, 9.0)
    slow = steady_turn(OVAL, stroke, Resistance("constant power", 1e6), mean_cadence_rpm=85.0)
    assert np.ptp(slow.wheel_resistance_Nm) < 1e-5
    assert slow.speed_rad_s == pytest.approx(OVAL.steady_speed(TORQUE, 85.0), rel=1e-6)
    even = steady_turn(Drivetrain(Ring.round(50)), make_stroke(np.full(360, 20.0), 9.0), ERGOMETER, 90.0)
    assert even.level == pytest.approx(20.0 * 3 * math.pi, rel=1e-9)
    assert even.speed_swing == pytest.approx(0, abs=1e-9)


def test_round_ring_against_quadratic_resistance_reads_low_by_twice_the_variance():
    """Time-mean torque is c⟨Ω²⟩, so error = ⟨ω²⟩⟨ω⟩/⟨ω³⟩ − 1 (time means); near −2·CV². See power error."""
    drivetrain = Drivetrain(Ring.round(50), sprocket_teeth=50, wheel_inertia_kgm2=2.4)
    turn = steady_turn(drivetrain, make_stroke(TORQUE, 9.0), QUADRATIC, mean_cadence_rpm=90.0)
    weight = 1 / turn.speed_rad_s / np.sum(1 / turn.speed_rad_s)
    first, second, third = (np.sum(weight * turn.speed_rad_s**power) for power in (1, 2, 3))
    found = power_error(turn.torque_Nm, turn.speed_rad_s)
    assert found == pytest.approx(second * first / third - 1, rel=1e-9)
    assert found == pytest.approx(-2 * (second / first**2 - 1), rel=0.03)


def test_about_one_kilogram_square_metre_swings_by_ten_per_cent_either_way():
    """Sargeant & Davies 1977: ±10 % in two-leg cycling; 250 W, 90 rpm, A = 0.75 would need 1.1 kg m²."""
    drivetrain = with_crank_inertia(Drivetrain(Ring.round(50)), 1.1)
    torque = 250 / (3 * math.pi) * (1 + 0.75 * np.cos(2 * ANGLE))
    turn = steady_turn(drivetrain, make_stroke(torque, 9.4), Resistance(), mean_cadence_rpm=90.0)
    assert turn.speed_swing / 2 == pytest.approx(0.10, abs=0.005)


def test_ways_to_give_inertia():
    base = Drivetrain(Ring.round(52), sprocket_teeth=16)
    assert with_crank_inertia(base, 94.2).crank_inertia(0.0) == pytest.approx(94.2)
    assert with_rider(base, 80.0, 0.334, 0.15).wheel_inertia_kgm2 == pytest.approx(80 * 0.334**2 + 0.15)
    for make, match in [
        (lambda: with_crank_inertia(base, 0.0), "crank_inertia_kgm2"),
        (lambda: with_rider(base, 80.0, 334.0), "wheel_radius_m"),
        (lambda: with_rider(base, 80.0, 0.334, -1.0), "wheels_kgm2"),
        (lambda: with_crank_inertia(base, math.nan), "crank_inertia_kgm2"),
    ]:
        with pytest.raises(Refusal, match=match):
            make()


def test_start_up_from_rest_under_constant_torque_follows_newton():
    """Even torque T, constant resistance R, one gear G: Ω = (T/G − R)·t/I and θ = Ω·t/2G."""
    drivetrain = Drivetrain(Ring.round(34), sprocket_teeth=17, wheel_inertia_kgm2=2.0)
    start = play_start_up(drivetrain, make_stroke(np.full(360, 30.0), 1.0), Resistance(), 5.0, 0.0, 3.0)
    assert start.speed_rad_s == pytest.approx((30 / 2 - 5) * start.time_s / 2.0 / 2, rel=1e-6, abs=1e-9)
    assert start.crank_rad == pytest.approx((30 / 2 - 5) * start.time_s**2 / 2.0 / 4, rel=1e-6, abs=1e-9)
    assert not start.stalled
    assert list(start.cadence_by_turn()["turn"]) == [1]


@pytest.mark.parametrize("resistance", [QUADRATIC, ERGOMETER])
def test_start_up_settles_into_the_steady_turn(resistance):
    stroke = make_stroke(TORQUE, 9.0, -8.0)
    steady = steady_turn(OVAL, stroke, resistance, mean_cadence_rpm=85.0)
    start = play_start_up(OVAL, stroke, resistance, steady.level, 40.0, 8.0, start_crank_deg=90.0)
    turns = start.cadence_by_turn()
    assert start.speed_rad_s[0] * 60 / (2 * math.pi) == pytest.approx(40.0)
    assert turns["cadence_rpm"].iloc[-1] == pytest.approx(85.0, abs=0.01)


def test_start_up_against_too_much_stalls():
    drivetrain = Drivetrain(Ring.round(34), sprocket_teeth=17, wheel_inertia_kgm2=1.0)
    start = play_start_up(drivetrain, make_stroke(np.full(360, 8.0), 1.0), Resistance(), 5.0, 30.0, 20.0)
    assert start.stalled
    assert start.speed_rad_s[-1] < 0.1
    # From 2π wheel radians per second at −1 rad/s²: rest after 2π seconds.
    assert start.time_s[-1] == pytest.approx(2 * math.pi, abs=0.006)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: Resistance("cubic"), "resistance law"),
        (lambda: Resistance("constant power"), "response_s"),
        (lambda: Resistance("quadratic", 1.0), "response_s"),
        (lambda: make_stroke(TORQUE, 9.0, 0.5), "slope_Nms"),
        (lambda: make_stroke(TORQUE, 0.0), "speed_rad_s"),
        (lambda: make_stroke(TORQUE[:4], 9.0), "torque_Nm"),
        (lambda: steady_turn(OVAL, make_stroke(TORQUE, 9.0), QUADRATIC), "exactly one"),
        (lambda: steady_turn(OVAL, make_stroke(TORQUE, 9.0), QUADRATIC, -5.0), "mean_cadence_rpm"),
        (lambda: steady_turn(OVAL, make_stroke(TORQUE, 9.0), Resistance(), level=9.0), "steady turn"),
        (lambda: play_start_up(OVAL, make_stroke(TORQUE, 9.0), QUADRATIC, 0.01, -1.0, 2.0), "start_cadence"),
        (lambda: play_start_up(OVAL, make_stroke(TORQUE, 9.0), QUADRATIC, 0.01, 1.0, 0.0), "duration_s"),
    ],
)
def test_refusals(make, match):
    with pytest.raises(Refusal, match=match):
        make()
