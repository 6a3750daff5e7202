"""How oval a ring is by its crank speed: against speeds that the whole drivetrain makes, of another ring and inertia."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.ring_factor import inertia_share, ring_factor, speed_waves

CRANK = crank_angles(360)
TORQUE_NM = 25.0 + 18.0 * np.cos(2 * (CRANK - np.radians(100.0))) + 2.0 * np.cos(CRANK - 1.0)
RPM = 90.0
NEAR = 0.04
"""What the first order in the energy stored, and in the ring's waves, leaves out at these inertias."""


def drive(ratio: float, mount_deg: float = 70.0, crank_inertia_kgm2: float = 30.0) -> Drivetrain:
    ring = Ring.round(50) if ratio == 1 else Ring.ellipse(50, ratio)
    return Drivetrain(ring, mount_deg, 17, wheel_inertia_kgm2=crank_inertia_kgm2 / (50 / 17) ** 2)


def waves(true: Drivetrain, stated: Drivetrain, steps_a_turn: float = np.inf):
    return speed_waves(stated, TORQUE_NM, true.steady_speed(TORQUE_NM, RPM), steps_a_turn)


def arm(ratio: float) -> float:
    """How far the arm √(a² cos² + b² sin²) of an ellipse swings about the middle of its extremes."""
    return (ratio - 1) / (ratio + 1)


@pytest.mark.parametrize(
    "true, stated", [(1.10, 1.20), (1.10, 1.30), (1.20, 1.10), (1.10, 1.05), (1.13, 1.13)]
)
@pytest.mark.parametrize("inertia_kgm2", [5.0, 30.0, 100.0])
@pytest.mark.parametrize("wrong_by", [0.7, 1.0, 1.3])
def test_a_ring_is_as_oval_as_its_arm_swings_whatever_inertia_is_stated(true, stated, inertia_kgm2, wrong_by):
    told = inertia_kgm2 * wrong_by
    share = inertia_share([waves(drive(1, 0, inertia_kgm2), drive(1, 0, told))])
    assert share == pytest.approx(wrong_by, rel=NEAR)
    factor = ring_factor(waves(drive(true, 70, inertia_kgm2), drive(stated, 70, told)), share)
    assert factor == pytest.approx(arm(true) / arm(stated), rel=NEAR)


def test_a_wrong_mount_does_not_make_a_ring_less_oval():
    share = inertia_share([waves(drive(1), drive(1))])
    for mount in (30.0, 115.0, 160.0):
        assert ring_factor(waves(drive(1.2, 70), drive(1.2, mount)), share) == pytest.approx(1, rel=NEAR)


def test_few_pulses_make_a_speed_look_more_even_by_as_much_as_is_given_back():
    """Eight pulses a turn: the time of 45° is shared out evenly, twice the sine of a quarter turn over its angle."""
    pulses = 8
    true = drive(1.2)
    time = (1 / true.steady_speed(TORQUE_NM, RPM)).reshape(pulses, -1).mean(axis=1).repeat(360 // pulses)
    seen = speed_waves(true, TORQUE_NM, 1 / time, pulses).measured
    raw = speed_waves(true, TORQUE_NM, 1 / time).measured
    whole = waves(true, true).measured
    assert abs(raw) / abs(whole) == pytest.approx((np.sin(np.pi / 4) / (np.pi / 4)) ** 2, rel=0.01)
    assert abs(seen) == pytest.approx(abs(whole), rel=0.01)


def test_nothing_is_told_where_nothing_swings():
    endless = replace(drive(1), wheel_inertia_kgm2=float("inf"))
    wave = waves(endless, endless)
    assert (
        np.isnan(inertia_share([wave])) and np.isnan(inertia_share([])) and np.isnan(ring_factor(wave, 1.0))
    )


def test_next_to_no_inertia_tells_no_share_of_it():
    """Torque then moves the crank beyond all numbers, whose squares are infinite."""
    true, stated = drive(1.0), drive(1.0, crank_inertia_kgm2=1e-300)
    assert np.isnan(inertia_share([waves(true, stated)]))
