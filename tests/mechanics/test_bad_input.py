"""Bad input to the mechanics: each gives one message that says what to change."""

import math

import numpy as np
import pytest

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.inertia import with_crank_inertia, with_rider
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.outlines import ring_from_outline
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.refusals import Refusal

TURN = np.arange(360) * 2 * math.pi / 360
TORQUE = 26.0 * (1 + 0.6 * np.cos(2 * TURN - 1.0))
ROUND = Drivetrain(Ring.round(52))
OUTLINE = 105.0 * np.column_stack([1.05 * np.cos(TURN[::3]), 0.95 * np.sin(TURN[::3])])


def dented():
    points = OUTLINE.copy()
    points[10] *= 0.98
    return points


def crossed():
    points = OUTLINE.copy()
    points[[10, 14]] = points[[14, 10]]
    return points


@pytest.mark.parametrize(
    ("make", "what", "remedy"),
    [
        pytest.param(lambda: ring_from_outline(dented(), 52), "point 11 of the outline", "", id="hollow outline"),
        pytest.param(lambda: ring_from_outline(crossed(), 52), "crosses itself", "sort the points", id="crossing outline"),
        pytest.param(lambda: ring_from_outline(OUTLINE / 1000, 52), "outline", "by 1000", id="outline in metres"),
        pytest.param(lambda: Drivetrain(Ring.round(52), chainstay_m=410.0), "chainstay_m", "in metres", id="stay in mm"),
        pytest.param(
            lambda: Drivetrain(Ring.ellipse(60, 1.3), chainstay_m=0.16), "ring and sprocket touch", "0.410", id="short stay"
        ),
        pytest.param(
            lambda: follow_leg(LegGeometry(0.17, 0.42, 0.43, 0.14, 0.2, 0.95), ankling(360, 18, 20, 285)),
            "hip to ankle",
            "lower the saddle",
            id="saddle too high",
        ),
        pytest.param(
            lambda: follow_leg(LegGeometry(0.17, 0.62, 0.30, 0.14, 0.0, 0.32), ankling(360, 18, 20, 285)),
            "hip to ankle",
            "raise the saddle",
            id="saddle too low",
        ),
        pytest.param(
            lambda: LegGeometry(170, 420, 430, 140, 200, 680), "leg geometry", "millimetres by 1000", id="legs in mm"
        ),
        pytest.param(
            lambda: Drivetrain(Ring.round(52), wheel_inertia_kgm2=0.001).steady_speed(TORQUE, 90.0),
            "all but stop in the turn",
            "inertia at the sprocket",
            id="crank that stalls",
        ),
        pytest.param(
            lambda: steady_turn(ROUND, make_stroke(TORQUE, 9.4, -1.0), Resistance(), level=500.0),
            "steady turn",
            "falls with speed",
            id="resistance beyond the stroke",
        ),
        pytest.param(lambda: ROUND.steady_speed(-TORQUE, 90.0), "torque_Nm", "check the sign", id="torque that brakes"),
        pytest.param(
            lambda: Drivetrain(Ring.round(52), wheel_inertia_kgm2=-1.0), "wheel_inertia_kgm2", "mass times", id="inertia"
        ),
        pytest.param(lambda: with_crank_inertia(ROUND, -3.0), "crank_inertia_kgm2", "measure it", id="crank inertia"),
        pytest.param(lambda: with_rider(ROUND, -80.0, 0.334), "mass_kg", "measure it", id="mass"),
        pytest.param(lambda: Resistance("constant power"), "response_s", "brake follows", id="brake without time"),
    ],
)  # fmt: skip
def test_one_message_says_what_to_change(make, what, remedy):
    with pytest.raises(Refusal) as refused:
        make()
    message = str(refused.value)
    assert what in message and remedy in refused.value.remedy
    assert "\n" not in message and all((refused.value.got, refused.value.wanted, refused.value.remedy))
