"""A channel that freezes within a turn, against live channels that only look like it."""

from __future__ import annotations

import numpy as np
import pytest
from rides import crank_at, leg_torque

from analysis_lib.signals.held_values import find_holds, say_stepped
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import TurnRules, cut_turns
from analysis_lib.signals.turn_rules import STUCK


def live_torque(rate_hz=100, duration_s=20.0, noise_Nm=0.15, varies=0.05, seed=1):
    """Time, angle and torque of two legs, whose strokes grow and shrink from turn to turn."""
    rng = np.random.default_rng(seed)
    time = np.arange(round(rate_hz * duration_s)) / rate_hz
    crank = crank_at(time)
    turns = np.arange(round(1.5 * duration_s) + 2)
    strength = 1 + varies * np.interp(crank / (2 * np.pi), turns, rng.standard_normal(turns.size))
    legs = {"left": leg_torque(crank + np.pi), "right": leg_torque(crank)}
    return (
        time,
        crank,
        {leg: strength * torque + rng.normal(0, noise_Nm, time.size) for leg, torque in legs.items()},
    )


def stored(torque, step_Nm):
    return {leg: np.round(values / step_Nm) * step_Nm for leg, values in torque.items()}


def recording_of(time, crank, torque):
    held = {leg: find_holds(values, crank) for leg, values in torque.items()}
    return Recording(time, crank, torque, held=held)


def stuck_turns(recording, rules=None):
    turns = cut_turns(recording, rules)
    return turns.number[turns.reason == STUCK].tolist()


def between(crank, turn, from_deg, to_deg):
    """Samples of a turn (the first is 1) between two angles of the right crank."""
    return np.flatnonzero(
        (crank >= 2 * np.pi * (turn - 1) + np.radians(from_deg))
        & (crank <= 2 * np.pi * (turn - 1) + np.radians(to_deg))
    )


@pytest.mark.parametrize("step_Nm", [0.001, 0.1, 0.5])
@pytest.mark.parametrize(("from_deg", "to_deg", "turns"), [(20, 80, [5]), (300, 420, [5, 6])])
def test_turns_in_which_a_channel_freezes_are_dropped(step_Nm, from_deg, to_deg, turns):
    """A right leg's torque grows by some 25 N·m from 20° to 80° and falls by as much after 120°."""
    time, crank, torque = live_torque()
    frozen = between(crank, 5, from_deg, to_deg)
    torque["right"][frozen] = torque["right"][frozen[0]]
    recording = recording_of(time, crank, stored(torque, step_Nm))
    assert stuck_turns(recording) == turns
    assert stuck_turns(recording, TurnRules(min_torque_range_Nm=0)) == []


@pytest.mark.parametrize("rate_hz", [20, 100, 1000])
@pytest.mark.parametrize("step_Nm", [1e-3, 1 / 32, 0.5, 1.0, 4.0])
@pytest.mark.parametrize("floor_Nm", [-np.inf, 0.0, 2.0])
def test_live_channels_are_left_alone(rate_hz, step_Nm, floor_Nm):
    """In coarse steps peaks are held for long, and at a floor whole upstrokes are."""
    for seed, noise_Nm in enumerate((0.0, 0.3)):
        time, crank, torque = live_torque(rate_hz, noise_Nm=noise_Nm, seed=seed)
        torque = {leg: np.maximum(values, floor_Nm) for leg, values in torque.items()}
        assert stuck_turns(recording_of(time, crank, stored(torque, step_Nm))) == []


@pytest.mark.parametrize(("step_Nm", "floor_Nm"), [(0.5, -np.inf), (0.001, 2.0)])
def test_a_rider_who_does_not_push_is_no_freeze(step_Nm, floor_Nm):
    """In turn 8 the right leg rests on the pedal: one coarse step stands in its whole drive, or the channel's floor."""
    time, crank, torque = live_torque()
    resting = between(crank, 8, 10, 190)
    torque["right"][resting] = 0.6 + 0.05 * np.sin(time[resting])
    floored = {leg: np.maximum(values, floor_Nm) for leg, values in torque.items()}
    assert stuck_turns(recording_of(time, crank, stored(floored, step_Nm))) == []


def test_what_is_usual_takes_ten_turns():
    time, crank, torque = live_torque(duration_s=6.0)
    frozen = between(crank, 3, 20, 80)
    torque["right"][frozen] = torque["right"][frozen[0]]
    assert cut_turns(recording_of(time, crank, torque)).kept.sum() == 8
    assert stuck_turns(recording_of(time, crank, torque)) == []


def test_a_channel_that_is_measured_slowly_is_said_to_be_and_no_freeze():
    """Ten values a second at 90 rpm, written at 100 Hz: each stands for ten rows, nine steps of 5.4°, 48.6° less ripple."""
    time, crank, torque = live_torque()
    slow = {leg: values[np.arange(time.size) // 10 * 10] for leg, values in torque.items()}
    recording = recording_of(time, crank, slow)
    assert stuck_turns(recording) == []
    said = say_stepped(recording.held)
    assert [sentence[:46] for sentence in said] == [
        "Torque of left keeps each value for 49° of the",
        "Torque of right keeps each value for 49° of th",
    ]
    assert say_stepped(recording_of(time, crank, torque).held) == ()


def test_holds_of_a_part_count_from_its_first_sample():
    torque = np.array([5.0, 3.0, 3.0, 3.0, 3.0, 4.0, 0.0])
    crank = np.radians(30.0 * np.arange(7))
    whole = Recording(np.arange(7.0), crank, {"total": torque}, held={"total": find_holds(torque, crank)})
    assert whole.held["total"].stretches.tolist() == [[1, 4]]
    assert whole.part(slice(2, 6)).held["total"].stretches.tolist() == [[0, 2]]
    assert whole.part(slice(4, 7)).held["total"].stretches.tolist() == []


@pytest.mark.long
def test_random_rides_have_no_false_alarm_and_few_freezes_pass():
    """400 live rides, and 200 with one freeze of 60° to 300° in turn 12; the shares are those that `held_values` states."""
    rng = np.random.default_rng(20)
    alarms, found = 0, []
    for ride in range(600):
        time, crank, torque = live_torque(
            rate_hz=int(rng.choice([50, 100, 200])),
            duration_s=float(rng.choice([12.0, 30.0])),
            noise_Nm=float(rng.choice([0.0, 0.05, 0.4])),
            varies=float(rng.choice([0.0, 0.02, 0.08])),
            seed=ride,
        )
        if ride < 400:
            floored = {
                leg: np.maximum(values, rng.choice([-99.0, 0.0, 2.0])) for leg, values in torque.items()
            }
            step_Nm = rng.choice([0.001, 0.25, 0.5, 1.0, 2.0, 4.0])
            alarms += len(stuck_turns(recording_of(time, crank, stored(floored, step_Nm))))
            continue
        start = rng.uniform(0, 360)
        frozen = between(crank, 12, start, start + rng.uniform(60, 300))
        torque["left"][frozen] = torque["left"][frozen[0]]
        found.append(12 in stuck_turns(recording_of(time, crank, stored(torque, rng.choice([0.001, 0.1])))))
    assert alarms == 0
    assert np.mean(found) > 0.9
