import math

import numpy as np
import pytest

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.environments import compare_environments
from analysis_lib.mechanics.inertia import with_crank_inertia
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.speed_agreement import compare_speeds
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
TORQUE = 250 / (3 * math.pi) * (1 + 0.75 * np.cos(2 * (ANGLE - math.radians(101))))


def ride(ring, crank_inertia, slope=-2.0, cadence=90.0):
    drivetrain = with_crank_inertia(Drivetrain(ring, 70.0), crank_inertia)
    stroke = make_stroke(TORQUE, 3 * math.pi, slope)
    return steady_turn(drivetrain, stroke, Resistance(), mean_cadence_rpm=cadence)


def test_road_and_ergometer_inertia():
    """94.2 against 2.4 kg m² at the crank (Edwards 2007, round ring): 0.24 % and 9.3 % ripple."""
    shift = compare_environments(ride(Ring.round(52), 94.2), ride(Ring.round(52), 2.4))
    table = shift.summary().set_index("quantity")
    swing = table.loc["crank speed, peak to peak over mean"]
    # A·T₀/(I·ω²), less the few per cent by which a falling torque damps itself.
    assert swing["road"] == pytest.approx(0.238, abs=0.005)
    assert swing["ergometer"] == pytest.approx(9.33, rel=0.02)
    frame = shift.to_frame()
    assert frame["torque_shift_Nm"].to_numpy() == pytest.approx(
        -2.0 * frame["speed_shift_rpm"].to_numpy() * 2 * math.pi / 60, abs=1e-9
    )
    # Speed peaks 45° after torque; losing torque there pulls the torque's axis forward.
    assert shift.torque_phase_shift_deg < 0
    assert "ergometer" in shift.sentence()
    assert table.loc["power error with one speed reading a turn", "road"] == pytest.approx(0, abs=1e-3)


def test_oval_on_the_road_swings_with_its_arm():
    """Peak to peak of mean arm / arm at 1.10: 1.0506 − 0.9551 (reference values, section 2)."""
    shift = compare_environments(ride(Ring.ellipse(52, 1.10), 94.2), ride(Ring.ellipse(52, 1.10), 2.4))
    assert shift.road.speed_swing == pytest.approx(1.0506 - 0.9551, abs=0.004)


def test_no_shift_between_the_same_turns():
    turn = ride(Ring.round(52), 10.0)
    shift = compare_environments(turn, turn)
    assert shift.torque_rms_Nm == 0
    assert shift.torque_phase_shift_deg == 0


def test_refuses_turns_that_do_not_belong_together():
    with pytest.raises(Refusal, match="same mean cadence"):
        compare_environments(ride(Ring.round(52), 94.2), ride(Ring.round(52), 2.4, cadence=80.0))


def test_agreement_of_speeds_by_hand():
    """Measured 10·(1 + 0.10 cos 2θ), predicted 10.2·(1 + 0.08 cos 2(θ − 5°))."""
    measured = 10.0 * (1 + 0.10 * np.cos(2 * ANGLE))
    predicted = 10.2 * (1 + 0.08 * np.cos(2 * (ANGLE - math.radians(5))))
    agreement = compare_speeds(predicted, measured)
    # Difference of two cosines 10° apart in phase: amplitude² = 0.1² + 0.08² − 2·0.1·0.08·cos 10°.
    amplitude = math.sqrt(0.01 + 0.0064 - 0.016 * math.cos(math.radians(10)))
    assert agreement.mean_difference == pytest.approx(0.02)
    assert agreement.rms_difference == pytest.approx(amplitude / math.sqrt(2), rel=1e-9)
    assert agreement.share_explained == pytest.approx(1 - amplitude**2 / 0.01, rel=1e-9)
    assert agreement.swing_ratio == pytest.approx(0.8, rel=1e-3)
    assert agreement.phase_difference_deg == pytest.approx(5.0, abs=1e-9)
    assert "phase +5.0°" in agreement.sentence()


def test_agreement_without_a_second_harmonic_or_with_a_flat_speed():
    measured = 10.0 * (1 + 0.10 * np.cos(2 * ANGLE))
    agreement = compare_speeds(np.full(360, 10.0), measured)
    assert agreement.phase_difference_deg is None
    assert agreement.share_explained == pytest.approx(0, abs=1e-12)
    assert "no second harmonic" in agreement.sentence()
    with pytest.raises(Refusal, match="varies by"):
        compare_speeds(measured, np.full(360, 10.0))
    with pytest.raises(Refusal, match="same angles"):
        compare_speeds(measured[:180], measured)
