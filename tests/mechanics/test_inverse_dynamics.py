import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis_lib.mechanics.inverse_dynamics import leg_inertia, solve_joint_loads
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.radial_force import effectiveness, radial_from_push, range_joint_loads
from analysis_lib.mechanics.segments import leg_segments
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
GEOMETRY = LegGeometry(0.170, 0.42, 0.43, 0.14, hip_behind_m=0.20, hip_above_m=0.68)
PATH = follow_leg(GEOMETRY, ankling(360, 18.0, 20.0, 285.0))
SEGMENTS = leg_segments("Winter", 75.0, 0.42, 0.43, 0.14)
TANGENTIAL = 90.0 + 150.0 * np.cos(ANGLE - math.radians(100)) + 20.0 * np.sin(2 * ANGLE)
RADIAL = 10.0 - 115.0 * np.cos(ANGLE - 0.1)
SPEED = 9.0 * (1 + 0.08 * np.cos(2 * ANGLE) + 0.02 * np.sin(2 * ANGLE))
PARK_TABLE = Path(__file__).parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"


def lagrange_moments(path, segments, speed, tangential, radial, index):
    """Moments of an open chain from the hip by Lagrange's equations, with finite differences.

    Coordinates are the absolute angles of thigh, shank and foot; the pedal force enters by virtual work.
    Nothing is shared with Newton and Euler but the positions of the joints.
    """
    masses = [(segments.thigh, 0), (segments.shank, 1), (segments.foot, 2)]
    lengths = np.array([0.42, 0.43, 0.14])

    def lagrangian(angles, rates):
        total = 0.0
        for body, order in masses:
            arms = np.where(np.arange(3) < order, lengths, 0.0)
            arms[order] = body.centre * lengths[order]
            velocity = np.sum(1j * rates * arms * np.exp(1j * angles))
            height = np.sum(arms * np.sin(angles))
            total += body.mass_kg * abs(velocity) ** 2 / 2 + body.inertia_kgm2 * rates[order] ** 2 / 2
            total -= body.mass_kg * 9.80665 * height
        return total

    # Angles against time near the crank angle in question, by Fourier series: exact for this smooth path.
    series = np.fft.rfft(np.stack([path.thigh_rad, path.shank_rad, path.foot_rad])) / 180.0
    series[:, 0] /= 2
    speeds = np.fft.rfft(speed) / 180.0
    speeds[0] /= 2

    def angles_at(theta):
        return (series * np.exp(1j * np.arange(181) * theta)).real.sum(axis=1)

    def rates_at(theta):
        slope = (series * 1j * np.arange(181) * np.exp(1j * np.arange(181) * theta)).real.sum(axis=1)
        return slope * (speeds * np.exp(1j * np.arange(181) * theta)).real.sum()

    def momentum(theta, step=1e-4):
        angles, rates = angles_at(theta), rates_at(theta)
        nudges = np.eye(3) * step
        return np.array(
            [(lagrangian(angles, rates + n) - lagrangian(angles, rates - n)) / (2 * step) for n in nudges]
        )

    theta = ANGLE[index]
    angles, rates = angles_at(theta), rates_at(theta)
    momentum_rate = (momentum(theta + 1e-4) - momentum(theta - 1e-4)) / 2e-4 * speed[index]
    nudges = np.eye(3) * 1e-5
    by_angle = [(lagrangian(angles + n, rates) - lagrangian(angles - n, rates)) / 2e-5 for n in nudges]
    on_foot = -(tangential[index] + 1j * radial[index]) * np.exp(-1j * theta)
    pedal = (np.conj(1j * lengths * np.exp(1j * angles)) * on_foot).real
    generalised = momentum_rate - by_angle - pedal
    # Generalised forces are hip − knee, knee − ankle, ankle.
    ankle = generalised[2]
    knee = generalised[1] + ankle
    hip = generalised[0] + knee
    return -hip, knee, -ankle


@pytest.mark.parametrize("index", [0, 37, 90, 141, 200, 271, 333])
def test_newton_and_euler_agree_with_lagrange(index):
    loads = solve_joint_loads(PATH, SEGMENTS, SPEED, TANGENTIAL, RADIAL)
    expected = lagrange_moments(PATH, SEGMENTS, SPEED, TANGENTIAL, RADIAL, index)
    found = (loads.hip_Nm[index], loads.knee_Nm[index], loads.ankle_Nm[index])
    assert found == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize("table", ["Winter", "de Leva 1996"])
@pytest.mark.parametrize("speed", [6.0, 12.0, SPEED])
def test_power_balance_closes_at_every_angle(table, speed):
    sex, foot = ("male", 0.26) if table == "de Leva 1996" else (None, None)
    segments = leg_segments(table, 75.0, 0.42, 0.43, 0.14, sex, foot)
    loads = solve_joint_loads(PATH, segments, speed, TANGENTIAL, RADIAL)
    assert np.max(np.abs(loads.balance_W)) < 1e-9 * np.max(np.abs(loads.pedal_W))
    # Over a turn the energy of the leg comes back, so the joints do exactly the work of the pedal.
    time = 1 / np.broadcast_to(np.asarray(speed, dtype=float), 360)
    joints = np.sum((loads.hip_W + loads.knee_W + loads.ankle_W) * time)
    assert joints == pytest.approx(np.sum(loads.pedal_W * time), rel=1e-9)
    assert np.sum(loads.energy_rate_W * time) == pytest.approx(0, abs=1e-9 * joints)


def test_statics_by_levers():
    """Almost at rest with weightless segments: a moment is force times its arm about the joint."""
    feather = leg_segments("Winter", 20.0, 0.42, 0.43, 0.14)
    feather = type(feather)(
        *(
            type(part)(1e-12, part.length_m, part.centre, 1e-14)
            for part in (feather.thigh, feather.shank, feather.foot)
        ),
        "weightless",
    )
    loads = solve_joint_loads(PATH, feather, 1e-6, np.zeros(360), radial_from_push(100.0, ANGLE))
    tangential = 100.0 * np.sin(ANGLE)
    push = solve_joint_loads(PATH, feather, 1e-6, tangential, radial_from_push(100.0, ANGLE))
    # The foot pushes 100 N straight down; the pedal pushes the foot up, with an arm forward of each joint.
    assert push.ankle_Nm == pytest.approx(100 * (PATH.pedal - PATH.ankle).real, abs=1e-7)
    assert push.hip_Nm == pytest.approx(100 * (PATH.pedal - PATH.hip).real, abs=1e-7)
    assert push.knee_Nm == pytest.approx(-100 * (PATH.pedal - PATH.knee).real, abs=1e-7)
    assert push.hip_N == pytest.approx(np.full(360, -100j), abs=1e-7)
    assert loads.pedal_W == pytest.approx(np.zeros(360))


def test_leg_inertia_is_twice_the_kinetic_energy_at_unit_speed():
    """Energy growth with and without speed: the part that grows with ω³ is the rate of ½·J·ω²."""
    still = solve_joint_loads(PATH, SEGMENTS, 1e-3, TANGENTIAL, RADIAL).energy_rate_W / 1e-3
    moving = solve_joint_loads(PATH, SEGMENTS, 10.0, TANGENTIAL, RADIAL).energy_rate_W / 10.0
    kinetic = (
        np.concatenate([[0.0], np.cumsum((moving - still + np.roll(moving - still, -1)) / 2)]) * ANGLE[1]
    )
    inertia = leg_inertia(PATH, SEGMENTS)
    assert 50.0 * (inertia - inertia[0]) == pytest.approx(kinetic[:-1], abs=0.02)
    # A few tenths of a kg m² at most, far less than the road's tens (plausibility only).
    assert 0.01 < inertia.min() < inertia.max() < 1.0


def park_leg():
    if not PARK_TABLE.exists():
        pytest.skip(f"{PARK_TABLE.name} is not beside the project")
    table = pd.read_csv(PARK_TABLE)[:360]
    forward, up = table["ap_mean_N"].to_numpy(), table["v_mean_N"].to_numpy()
    tangential = forward * np.cos(ANGLE) - up * np.sin(ANGLE)
    radial = forward * np.sin(ANGLE) + up * np.cos(ANGLE)
    return tangential, radial, np.radians(table["pedal_angle_mean"].to_numpy())


def test_measured_leg_has_the_power_of_its_pedal():
    """Park & Caldwell 2021: 35.47 W of one leg at 3.28275 rad/s (reference values, section 1a)."""
    tangential, radial, pitch = park_leg()
    path = follow_leg(GEOMETRY, pitch + math.radians(15))
    loads = solve_joint_loads(path, SEGMENTS, 3.28275, tangential, radial)
    assert loads.pedal_W.mean() == pytest.approx(35.47, abs=0.006)
    assert (loads.hip_W + loads.knee_W + loads.ankle_W).mean() == pytest.approx(35.47, abs=0.006)
    # Plausibility only (one published rider at higher power: 127, 54 and 39 N m): moments of tens of N m.
    assert 20 < loads.hip_Nm.max() < 130
    assert 5 < loads.knee_Nm.max() < 60
    assert 10 < loads.ankle_Nm.max() < 50


def test_radial_push_matches_the_measured_radial_force():
    """Park & Caldwell 2021: first harmonic of the outward radial force 114.9 N at 179.2°, index 0.5036."""
    tangential, radial, _ = park_leg()
    first = np.fft.rfft(radial)[1] / 180
    assert abs(first) == pytest.approx(114.9, abs=0.05)
    assert -math.degrees(np.angle(first)) % 360 == pytest.approx(180, abs=1)
    assert effectiveness(tangential, radial) == pytest.approx(0.5036, abs=5e-5)


def test_range_brackets_the_measured_moments_most_of_the_turn():
    tangential, radial, pitch = park_leg()
    path = follow_leg(GEOMETRY, pitch + math.radians(15))
    measured = solve_joint_loads(path, SEGMENTS, 3.28275, tangential, radial)
    spread = range_joint_loads(path, SEGMENTS, 3.28275, tangential * 0.170)
    assert spread.push_N[0] < 114.9 < spread.push_N[1]
    frame = spread.to_frame()
    inside = (measured.knee_Nm >= frame["knee_Nm_low"]) & (measured.knee_Nm <= frame["knee_Nm_high"])
    assert inside.mean() > 0.5
    assert "index of effectiveness of 0.61 to 0.36" in spread.sentence()


def test_range_has_the_indices_it_was_asked_for():
    tangential = 90.0 + 150.0 * np.cos(ANGLE - math.radians(100))
    spread = range_joint_loads(PATH, SEGMENTS, SPEED, tangential * 0.170, (0.4, 0.55))
    for push, index in zip(spread.push_N, (0.55, 0.40), strict=True):
        radial = -push * np.cos(ANGLE)
        assert tangential.mean() / np.hypot(tangential, radial).mean() == pytest.approx(index, rel=1e-9)
    # This torque alone has an index of 0.795: no push at all comes nearest to 0.95, and none gives 0.9.
    bare = range_joint_loads(PATH, SEGMENTS, SPEED, tangential * 0.170, (0.4, 0.95))
    assert bare.push_N[0] == 0
    assert bare.cases[0].effectiveness == pytest.approx(np.mean(tangential) / np.mean(np.abs(tangential)))
    with pytest.raises(Refusal, match="effectiveness_range"):
        range_joint_loads(PATH, SEGMENTS, SPEED, tangential * 0.170, (0.9, 0.95))


def test_refusals():
    with pytest.raises(Refusal, match="lengths of the segments"):
        solve_joint_loads(PATH, leg_segments("Winter", 75.0, 0.40, 0.43, 0.14), SPEED, TANGENTIAL, RADIAL)
    with pytest.raises(Refusal, match="speed and pedal forces"):
        solve_joint_loads(PATH, SEGMENTS, SPEED, TANGENTIAL[:180], RADIAL)
    with pytest.raises(Refusal, match="speed and pedal forces"):
        solve_joint_loads(PATH, SEGMENTS, 0.0, TANGENTIAL, RADIAL)
