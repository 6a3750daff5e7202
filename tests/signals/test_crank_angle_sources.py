"""Crank angles from pulses and rates, the zero of the angle, and which leg is which."""

from __future__ import annotations

import numpy as np
import pytest
from rides import crank_at, leg_torque, ride
from scipy.optimize import brentq

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_checks import angle_zero_from_slow_turn, check_sides, leg_angle_difference
from analysis_lib.signals.pulses import angle_from_index, angle_from_pulses, angle_from_rate
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.trial import analyse_trial

TURNS = 12


def times_of(turns):
    """When the ride's crank reaches given angles in turns, by root finding."""
    return np.array(
        [brentq(lambda t, at=at: crank_at(t) / (2 * np.pi) - at, -1, 20, xtol=1e-13) for at in turns]
    )


@pytest.fixture(scope="module")
def index():
    return times_of(np.arange(TURNS))


class TestPulses:
    def test_the_angle_is_right_at_every_pulse_and_nearly_between(self, index):
        pulses = times_of(np.arange(-3, 12 * TURNS) / 12)
        found = angle_from_pulses(pulses, 12, index)
        np.testing.assert_allclose(found.crank_rad, crank_at(pulses), atol=1e-9)
        between = np.linspace(0.1, 7, 500)
        # Straight lines over h = 30°: at most h²/8 of the second derivative of the time, 4 · 0.03.
        assert np.abs(found.at(between) - crank_at(between)).max() < np.radians(30) ** 2 / 8 * 4 * 0.035
        assert found.assumption == ""

    def test_the_index_may_be_stamped_just_after_its_pulse(self, index):
        pulses = times_of(np.arange(12 * TURNS) / 12)
        found = angle_from_pulses(pulses, 12, index + 1e-4)
        np.testing.assert_allclose(found.crank_rad, crank_at(pulses), atol=1e-9)

    def test_a_lost_pulse_is_refused_with_its_turn(self, index):
        pulses = np.delete(times_of(np.arange(12 * TURNS) / 12), 40)
        with pytest.raises(Refusal, match=r"index pulse 4 .* got 11 pulses to the next"):
            angle_from_pulses(pulses, 12, index)

    def test_times_must_grow(self, index):
        with pytest.raises(Refusal, match="time of index pulse 3"):
            angle_from_index([0.0, 0.7, 0.7, 1.4])


class TestOnePulseATurn:
    def test_is_exact_at_dead_centre_and_says_what_it_assumes(self, index):
        found = angle_from_index(index)
        np.testing.assert_allclose(found.at(index), 2 * np.pi * np.arange(TURNS))
        assert "constant within each turn" in found.assumption
        assert np.isnan(found.at(-0.5))
        # θ = φ + 0.03 sin 2φ: between dead centres a constant speed is off by up to 0.03 rad.
        between = np.linspace(index[0], index[-1], 1000)
        assert np.abs(found.at(between) - crank_at(between)).max() == pytest.approx(0.03, abs=0.001)


class TestTurningRate:
    time = np.arange(0, 8, 0.005)

    def rate(self):
        step = 1e-6
        return (crank_at(self.time + step) - crank_at(self.time - step)) / (2 * step)

    def test_gain_is_taken_from_the_index_pulses(self, index):
        found = angle_from_rate(self.time, 1.03 * self.rate(), index)
        np.testing.assert_allclose(found.crank_rad, crank_at(found.time_s), atol=1e-3)
        assert "stretched by −2.9" in found.assumption

    def test_another_unit_is_refused(self, index):
        with pytest.raises(Refusal, match=r"57\.\d+ turns to the next pulse"):
            angle_from_rate(self.time, np.degrees(self.rate()), index)

    def test_a_lost_index_pulse_is_refused(self, index):
        with pytest.raises(Refusal, match=r"from index pulse 5 – got 2\.000 turns"):
            angle_from_rate(self.time, self.rate(), np.delete(index, 5))


class TestSlowTurn:
    def test_offset_and_its_standard_error(self):
        """The spread of 300 repeats is what the standard error says; 2000 readings are known to about 4 %."""
        rng = np.random.default_rng(0)
        crank = np.radians(np.arange(0, 360, 3))
        clean = 2.0 + 16.67 * np.sin(crank - np.radians(-7.5))
        found = [angle_zero_from_slow_turn(crank, clean + rng.normal(0, 0.5, crank.size)) for _ in range(300)]
        offsets = np.array([one.value for one in found])
        assert offsets.mean() == pytest.approx(-7.5, abs=4 * found[0].se / np.sqrt(300))
        assert offsets.std(ddof=1) == pytest.approx(np.mean([one.se for one in found]), rel=0.15)
        # Exact for evenly spaced angles: se = σ/A · √(2/n).
        assert np.mean([one.se for one in found]) == pytest.approx(
            np.degrees(0.5 / 16.67 * np.sqrt(2 / 120)), rel=0.05
        )

    def test_refusals(self):
        crank = np.radians(np.arange(0, 360, 5))
        with pytest.raises(Refusal, match="over 270°"):
            angle_zero_from_slow_turn(crank[:30], np.sin(crank[:30]))
        with pytest.raises(Refusal, match="a torque that gravity explains"):
            angle_zero_from_slow_turn(crank, np.random.default_rng(0).normal(0, 1, crank.size))


class TestSides:
    def test_legs_that_drive_on_their_way_down_pass(self):
        assert check_sides(cut_turns(ride(duration_s=5))) == []

    def test_swapped_sides_are_said_and_reach_the_trial(self):
        recording = ride(duration_s=25)
        swapped = {"left": recording.torque["right"], "right": recording.torque["left"]}
        found = analyse_trial(Recording(recording.time_s, recording.crank_rad, swapped))
        assert len(found.cautions) == 1
        assert "left and right seem swapped, or the angle belongs to the other crank" in found.cautions[0]

    def test_one_leg_on_the_other_crank(self):
        recording = ride(duration_s=5)
        turns = cut_turns(
            Recording(recording.time_s, recording.crank_rad + np.pi, {"left": recording.torque["left"]})
        )
        assert "swapped" in check_sides(turns)[0]

    def test_one_leg_with_the_wrong_sign(self):
        recording = ride(duration_s=5, left=0.3)
        torque = {**recording.torque, "left": -recording.torque["left"]}
        sentences = check_sides(cut_turns(Recording(recording.time_s, recording.crank_rad, torque)))
        assert "the left leg at" in sentences[0]
        assert "wrong sign" in sentences[0]

    def test_a_late_leg_shows_in_the_difference_and_a_common_shift_does_not(self):
        recording = ride(duration_s=30, ripple=0.0)
        late = {**recording.torque, "left": leg_torque(recording.crank_rad + np.pi - np.radians(12))}
        for shift in (0.0, 0.4):
            turns = cut_turns(Recording(recording.time_s, recording.crank_rad + shift, late))
            assert leg_angle_difference(turns).value == pytest.approx(12.0, abs=0.05)
        with pytest.raises(Refusal, match="two legs"):
            leg_angle_difference(
                cut_turns(Recording(recording.time_s, recording.crank_rad, {"left": late["left"]}))
            )

    def test_a_leg_that_is_far_too_late_is_a_caution_of_the_trial(self):
        recording = ride(duration_s=30, ripple=0.0)
        for late_deg, cautions in ((12, 0), (45, 1)):
            left = leg_torque(recording.crank_rad + np.pi - np.radians(late_deg))
            legs = {**recording.torque, "left": left}
            found = analyse_trial(Recording(recording.time_s, recording.crank_rad, legs)).cautions
            assert len(found) == cautions
        assert "The left leg drives 45° later than the right one" in found[0]
