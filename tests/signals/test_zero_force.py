"""Zero forces: offsets put on forces by hand come off before the forces count as torque."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import forces_on_crank
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.zero_force import remove_zero_force
from analysis_lib.signals.zero_torque import ZeroCheck, zero_line

LENGTH_M = 0.17
TIME = np.arange(0, 60, 0.01)
CRANK = 2 * np.pi * 1.5 * TIME
ON_BIKE = {
    "left": (20 * np.cos(CRANK), -150 - 100 * np.sin(CRANK + np.pi)),
    "right": (15.0, -140 - 90 * np.sin(CRANK)),
}


def made_of(forces):
    """A recording of two legs from fore-aft and vertical forces."""
    parts = {
        leg: forces_on_crank(
            np.broadcast_to(fore, TIME.shape), up, CRANK - (math.pi if leg == "left" else 0.0)
        )
        for leg, (fore, up) in forces.items()
    }
    return Recording(
        TIME,
        CRANK,
        {leg: part.tangential_N * LENGTH_M for leg, part in parts.items()},
        radial_N={leg: part.radial_N for leg, part in parts.items()},
        crank_length_m=LENGTH_M,
    )


def test_offsets_that_drift_come_off_both_torque_and_radial_force():
    """8 N fore-aft and −5 N vertical before, 12 N and −2 N after a minute, on the left pedal alone."""
    late = TIME / 60
    spoilt = {
        **ON_BIKE,
        "left": (ON_BIKE["left"][0] + 8 + 4 * late, ON_BIKE["left"][1] - 5 + 3 * late),
    }
    before = ZeroCheck(0.0, None, {"fore_aft_left": 8.0, "vertical_left": -5.0})
    after = ZeroCheck(60.0, None, {"fore_aft_left": 12.0, "vertical_left": -2.0})
    cleaned, line = remove_zero_force(made_of(spoilt), zero_line([before], [after], 60.0))
    clean = made_of(ON_BIKE)
    for leg in ("left", "right"):
        np.testing.assert_allclose(cleaned.torque[leg], clean.torque[leg], atol=1e-9)
        np.testing.assert_allclose(cleaned.radial_N[leg], clean.radial_N[leg], atol=1e-9)
    assert line.lines == {"left": (0.0, 0.0)}
    assert line.drift_Nm == {"left": 0.0}  # forces in the frame of the bike add nothing over whole turns


def test_ten_newtons_of_tangential_zero_are_1_7_newton_metres():
    clean = made_of(ON_BIKE)
    spoilt = replace(clean, torque={leg: torque + 10 * LENGTH_M for leg, torque in clean.torque.items()})
    checks = {"tangential_left": 10.0, "tangential_right": 10.0}
    later = {name: value + 2.0 for name, value in checks.items()}
    line = zero_line([ZeroCheck(-1e6, None, checks)], [ZeroCheck(1e9, None, later)], 60.0)
    cleaned, line = remove_zero_force(spoilt, line)
    np.testing.assert_allclose(cleaned.torque["left"], clean.torque["left"], atol=1e-3)
    assert line.drift_Nm["right"] == pytest.approx(2.0 * LENGTH_M)


def test_a_line_of_torque_is_passed_on():
    line = zero_line([ZeroCheck(0.0, None, {"left": 1.0})], [], 60.0)
    recording = made_of(ON_BIKE)
    assert remove_zero_force(recording, line) == (recording, line)


def test_a_check_on_one_side_is_said():
    line = zero_line([ZeroCheck(0.0, None, {"fore_aft_left": 8.0, "vertical_left": -5.0})], [], 60.0)
    _, line = remove_zero_force(made_of(ON_BIKE), line)
    assert line.assumption.startswith("Zero of fore_aft_left and vertical_left was checked only before")
    assert line.drift_Nm == {}


def test_a_zero_of_forces_for_recorded_torque_is_refused():
    line = zero_line([ZeroCheck(0.0, None, {"tangential_left": 8.0})], [], 60.0)
    with pytest.raises(Refusal, match="not made of pedal forces"):
        remove_zero_force(replace(made_of(ON_BIKE), crank_length_m=None), line)
