import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.inverse_dynamics import leg_inertia, solve_joint_loads
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.periodic import differentiate_turn
from analysis_lib.mechanics.prediction import ROUND, SAME_FORCE, SAME_JOINTS, SAME_SURFACE, predict_on_oval
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.segments import leg_segments
from analysis_lib.mechanics.turn_energy import energy_for_duration
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
LEG = 13.0 + 18.0 * np.cos(ANGLE - math.radians(98)) + 7.0 * np.cos(2 * (ANGLE - math.radians(101)))
TORQUE = LEG + np.roll(LEG, 180)
PATH = follow_leg(LegGeometry(0.170, 0.42, 0.43, 0.14, 0.20, 0.68), ankling(360, 18.0, 20.0, 285.0))
SEGMENTS = leg_segments("Winter", 75.0, 0.42, 0.43, 0.14)
ROUND_DRIVE = Drivetrain(Ring.round(50))
OVAL_DRIVE = Drivetrain(Ring.ellipse(50, 1.2), 70.0)


def predict(oval=OVAL_DRIVE, **options):
    return predict_on_oval(ROUND_DRIVE, oval, TORQUE, 90.0, **options)


def curve(prediction, assumption):
    return prediction.curves[prediction.curves["assumption"] == assumption]


def test_a_round_ring_in_place_of_the_oval_changes_nothing():
    prediction = predict(Drivetrain(Ring.round(50)), slope_Nms=-3.0, legs=(PATH, SEGMENTS))
    for assumption in (SAME_FORCE, SAME_SURFACE, SAME_JOINTS):
        assert curve(prediction, assumption)["torque_Nm"].to_numpy() == pytest.approx(TORQUE, abs=1e-9)
    assert prediction.summary["power_W"].to_numpy() == pytest.approx(np.full(4, 26.0 * 3 * math.pi), rel=1e-9)


def test_unchanged_joint_torques_stay_unchanged_by_inverse_dynamics():
    """Moments of both legs, from crank torque by Newton and Euler, on the round and on the predicted oval turn.

    One leg alone has no known share of the torque, so half the two-leg torque goes to each leg half a turn
    apart, with a radial force that does not change. What must agree is the work of all joint moments per angle.
    """
    prediction = predict(legs=(PATH, SEGMENTS))

    def joint_work_per_radian(assumption):
        turn = curve(prediction, assumption)
        speed = turn["speed_rpm"].to_numpy() * 2 * math.pi / 60
        total = np.zeros(360)
        for shift in (0, 180):
            tangential = np.roll(turn["torque_Nm"].to_numpy() / 2, -shift) / 0.170
            loads = solve_joint_loads(
                PATH, SEGMENTS, np.roll(speed, -shift), tangential, -100 * np.cos(ANGLE)
            )
            total += np.roll((loads.hip_W + loads.knee_W + loads.ankle_W) / np.roll(speed, -shift), shift)
        return total

    before, after = joint_work_per_radian(ROUND), joint_work_per_radian(SAME_JOINTS)
    assert after == pytest.approx(before, abs=1e-6)
    changed = curve(prediction, SAME_JOINTS)["torque_Nm"].to_numpy() - TORQUE
    assert np.ptp(changed) > 1.0  # the legs' inertia does move torque about
    assert changed.mean() == pytest.approx(0, abs=1e-9)


def test_unchanged_joint_torques_by_integration_in_time():
    """Wheel and legs as one inertia, I G² + J, driven by the joints' torque, integrated in time for a turn."""
    prediction = predict(legs=(PATH, SEGMENTS))
    both = leg_inertia(PATH, SEGMENTS) + np.roll(leg_inertia(PATH, SEGMENTS), 180)
    flat = curve(prediction, ROUND)["speed_rpm"].to_numpy() * 2 * math.pi / 60
    joints = TORQUE + differentiate_turn(both * flat**2 / 2)
    gear = OVAL_DRIVE.gear(ANGLE)
    inertia = 80 * 0.334**2 * gear**2 + both
    resistance = 26.0 * 17 / 50
    slope = differentiate_turn(inertia)

    def at(values, theta):
        return np.interp(theta, ANGLE, values, period=2 * math.pi)

    def motion(_, state):
        theta, speed = state
        surplus = at(joints, theta) - at(gear, theta) * resistance - at(slope, theta) * speed**2 / 2
        return [speed, surplus / at(inertia, theta)]

    predicted = curve(prediction, SAME_JOINTS)["speed_rpm"].to_numpy() * 2 * math.pi / 60
    run = solve_ivp(motion, [0, 60 / 90], [0.0, predicted[0]], rtol=1e-8, atol=1e-9, max_step=0.005)
    assert run.y[0, -1] == pytest.approx(2 * math.pi, abs=5e-4)
    assert at(predicted, run.y[0]) == pytest.approx(run.y[1], rel=5e-4)


def test_surface_loses_torque_where_the_crank_runs_faster():
    prediction = predict(slope_Nms=-3.0)
    speeds = [
        curve(prediction, name)["speed_rpm"].to_numpy() * 2 * math.pi / 60 for name in (ROUND, SAME_SURFACE)
    ]
    lost = curve(prediction, SAME_SURFACE)["torque_Nm"].to_numpy() - TORQUE
    assert lost == pytest.approx(-3.0 * (speeds[1] - speeds[0]), abs=1e-9)
    # Angle-mean speed exceeds the time-mean, so the whole stroke loses a little power by the slope.
    summary = prediction.summary.set_index("assumption")
    assert summary.loc[SAME_SURFACE, "power_W"] < summary.loc[ROUND, "power_W"]


def test_band_spans_the_assumptions_and_joint_speeds_follow_the_crank():
    prediction = predict(slope_Nms=-3.0, legs=(PATH, SEGMENTS))
    band = prediction.band()
    force = curve(prediction, SAME_FORCE)
    assert (band["torque_low_Nm"].to_numpy() <= force["torque_Nm"].to_numpy() + 1e-12).all()
    assert (band["torque_high_Nm"].to_numpy() >= force["torque_Nm"].to_numpy() - 1e-12).all()
    assert len(band) == 360
    joints = prediction.joint_speeds
    ratio = (
        joints.loc[joints["assumption"] == SAME_FORCE, "knee_deg_s"].to_numpy()
        / joints.loc[joints["assumption"] == ROUND, "knee_deg_s"].to_numpy()
    )
    assert ratio == pytest.approx(
        force["speed_rpm"].to_numpy() / curve(prediction, ROUND)["speed_rpm"].to_numpy(), rel=1e-9
    )
    # Knee speed by finite differences of the flexion angle at constant crank speed would be rate × 3π rad/s.
    step = np.gradient(np.degrees(PATH.knee_flexion_rad), ANGLE)[100]
    speed = curve(prediction, ROUND)["speed_rpm"].to_numpy()[100] * 2 * math.pi / 60
    found = joints.loc[joints["assumption"] == ROUND, "knee_deg_s"].to_numpy()[100]
    assert found == pytest.approx(step * speed, rel=1e-3)
    assert "not a confidence interval" in prediction.sentence()
    assert predict().joint_speeds is None


def test_energy_for_duration_by_a_bracketing_root_finder():
    stored = 3.0 * np.sin(2 * ANGLE) + np.cos(ANGLE)
    weight = 1 + 0.1 * np.cos(2 * ANGLE)

    def lateness(constant):
        return np.mean(weight / np.sqrt(2 * (constant + stored))) - 1 / 2.6

    expected = brentq(lateness, -stored.min() + 1e-9, 100.0, xtol=1e-13)
    assert energy_for_duration(stored, weight, 2.6) == pytest.approx(expected, rel=1e-11)


def test_refusals():
    with pytest.raises(Refusal, match="round_drivetrain"):
        predict_on_oval(OVAL_DRIVE, OVAL_DRIVE, TORQUE, 90.0)
    with pytest.raises(Refusal, match="legs"):
        predict_on_oval(ROUND_DRIVE, OVAL_DRIVE, TORQUE[::2], 90.0, legs=(PATH, SEGMENTS))
