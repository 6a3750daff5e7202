"""The zero torque: a straight line in time between checks, and what is assumed without them."""

from __future__ import annotations

import numpy as np
import pytest
from rides import ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.stroke import turn_measures
from analysis_lib.signals.zero_torque import ZeroCheck, remove_zero_torque, zero_line


def check(at_s=None, **torque):
    return ZeroCheck(at_s, 20.0, torque)


def test_a_line_through_both_checks():
    line = zero_line([check(-60, total=0.5)], [check(340, total=1.3)], 300)
    assert line.at([-60, 140, 340])["total"] == pytest.approx([0.5, 0.9, 1.3])
    assert line.drift_Nm == pytest.approx({"total": 0.8})
    assert line.assumption == ""


def test_checks_without_a_time_count_at_the_ends_of_the_trial():
    line = zero_line([check(left=1.0, right=2.0)], [check(left=1.2, right=1.0)], 100, start_s=50)
    assert line.at(100)["left"] == pytest.approx(1.1)
    assert line.at(150)["right"] == pytest.approx(1.0)


def test_several_checks_on_a_side_count_by_their_mean():
    line = zero_line([check(-20, total=0.0), check(0, total=1.0)], [check(90, total=2.5)], 80)
    assert line.at([-10, 90])["total"] == pytest.approx([0.5, 2.5])


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (
            [check(total=0.7)],
            [],
            "Zero torque of total was checked only before the trial and taken as constant.",
        ),
        (
            [],
            [check(total=0.7)],
            "Zero torque of total was checked only after the trial and taken as constant.",
        ),
    ],
)
def test_one_side_alone_is_constant_and_said(before, after, said):
    line = zero_line(before, after, 300)
    assert line.at([0, 300])["total"] == pytest.approx([0.7, 0.7])
    assert (line.assumption, line.drift_Nm) == (said, {})


def test_no_check_at_all_is_zero_and_said():
    line = zero_line([], [], 300)
    assert line.assumption == "Zero torque of every channel was never checked and taken as 0 N·m."
    recording = remove_zero_torque(ride(), line)
    assert recording.assumptions == ("Zero torque of left and right was never checked and taken as 0 N·m.",)


def test_a_channel_that_was_not_checked_is_said():
    line = zero_line([check(left=1.0)], [check(left=1.0)], 20)
    recording = remove_zero_torque(ride(), line)
    assert recording.assumptions == ("Zero torque of right was never checked and taken as 0 N·m.",)
    np.testing.assert_allclose(recording.torque["left"], ride().torque["left"] - 1.0)


def test_a_zero_torque_of_half_a_newton_metre_is_worth_its_power():
    """0.5 N m at 90 rpm = 4.71 W (exact: 0.5 · 90 · 2π/60)."""
    recording = ride(ripple=0.0)
    line = zero_line([check(left=0.25, right=0.25)], [check(left=0.25, right=0.25)], 20)
    power = [turn_measures(cut_turns(r))["power_W"] for r in (recording, remove_zero_torque(recording, line))]
    assert power[0].to_numpy() - power[1].to_numpy() == pytest.approx(4.712389, abs=1e-6)


def test_drift_is_removed_as_it_came():
    recording = ride()
    drifting = {c: v + 0.4 + 0.05 * recording.time_s for c, v in recording.torque.items()}
    line = zero_line([check(0, left=0.4, right=0.4)], [check(20, left=1.4, right=1.4)], 20)
    cleaned = remove_zero_torque(type(recording)(recording.time_s, recording.crank_rad, drifting), line)
    for channel in ("left", "right"):
        np.testing.assert_allclose(cleaned.torque[channel], recording.torque[channel], atol=1e-12)


def test_checks_that_cannot_be_are_refused():
    with pytest.raises(Refusal, match="a later time after the trial"):
        zero_line([check(10, total=0.0)], [check(5, total=0.0)], 300)
    with pytest.raises(Refusal, match="nan N·m"):
        zero_line([check(total=float("nan"))], [], 300)
