"""A whole trial: summary, standard errors, draws of the torque phase, and what is said about all that."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from rides import leg_torque, ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import TurnRules
from analysis_lib.signals.torque_profile import torque_phase_deg
from analysis_lib.signals.trial import analyse_trial
from analysis_lib.signals.turn_series import (
    linear_amplitude,
    linear_direction,
    linear_mean,
    linear_ratio,
    turn_means,
)
from analysis_lib.signals.zero_torque import ZeroCheck, zero_line


def wavering_ride(seed=0, duration_s=120.0, remembers=0.6):
    """A ride whose size and phase wander from turn to turn as a first-order autoregression."""
    recording = ride(rate_hz=100, duration_s=duration_s, start_deg=-10)
    rng = np.random.default_rng(seed)
    turn = np.floor(recording.crank_rad / (2 * np.pi)).astype(int) + 1
    noise = np.zeros((turn.max() + 1, 2))
    for row in range(1, len(noise)):
        noise[row] = remembers * noise[row - 1] + rng.standard_normal(2)
    scale = 1 + 0.05 * noise[turn, 0]
    crank = recording.crank_rad - np.radians(2.0) * noise[turn, 1]
    torque = {"left": scale * leg_torque(crank + np.pi), "right": scale * leg_torque(crank)}
    return Recording(recording.time_s, recording.crank_rad, torque, name="wavering")


@pytest.fixture(scope="module")
def result():
    return analyse_trial(wavering_ride())


class TestSummary:
    def test_is_a_long_table_with_units_in_their_column(self, result):
        summary = result.summary.set_index("quantity")
        assert list(result.summary.columns) == [
            "quantity", "value", "unit", "se", "n_turns", "n_effective", "method", "note",
        ]  # fmt: skip
        units = {
            "power_W": "W",
            "cadence_rpm": "rpm",
            "torque_phase_deg": "deg",
            "left_share_pct": "%",
            "evenness": "",
        }
        assert summary.loc[list(units), "unit"].to_dict() == units
        assert (summary["n_turns"] == len(result.turns)).all()
        assert "left work" in summary.loc["left_share_pct", "note"]
        assert not summary[["value", "se"]].isna().any().any()

    def test_power_is_all_work_over_all_time(self, result):
        turns = result.turns
        work = (turns["power_W"] * turns["duration_s"]).sum()
        assert result.value("power_W") == pytest.approx(work / turns["duration_s"].sum(), rel=1e-12)
        assert result.value("cadence_rpm") == pytest.approx(
            60 * len(turns) / turns["duration_s"].sum(), rel=1e-12
        )

    def test_harmonics_and_phase_are_those_of_the_mean_profile(self, result):
        """By numpy's FFT of the mean profile at whole degrees, and by the public function of the phase."""
        torque = result.torque_at_angles()
        second = np.fft.fft(torque)[2] * 2 / 360
        assert result.value("harmonic_2_Nm") == pytest.approx(abs(second), rel=1e-9)
        assert result.value("torque_phase_deg") == pytest.approx(torque_phase_deg(torque), abs=1e-9)

    def test_an_unknown_quantity_is_refused_with_those_known(self, result):
        with pytest.raises(Refusal, match="one of cadence_rpm"):
            result.value("power")


class TestStandardErrors:
    def test_the_spread_over_repeated_rides_is_what_the_standard_error_says(self):
        """Forty rides with the same memory between turns: their means scatter as their standard errors say.

        Turns taken as independent would say less than half of it: (1 + 0.6)/(1 − 0.6) = 4 times the variance.
        The ratio of two such figures from 40 rides is known within about a quarter.
        """
        results = [analyse_trial(wavering_ride(seed, 60.0)) for seed in range(40)]
        for quantity in (
            "power_W",
            "torque_phase_deg",
            "peak_torque_left_Nm",
            "positive_impulse_proportion_left",
        ):
            rows = [r.summary.set_index("quantity").loc[quantity] for r in results]
            spread = np.std([row["value"] for row in rows], ddof=1)
            said = np.sqrt(np.mean([row["se"] ** 2 for row in rows]))
            assert 0.65 < said / spread < 1.5, quantity
            independent = np.mean([row["n_effective"] / row["n_turns"] for row in rows])
            assert independent < 0.6, quantity

    def test_the_draws_of_the_phase_scatter_as_its_standard_error(self, result):
        turns = result.torque_draws(2000, seed=1)
        draws = np.array([torque_phase_deg(turn) for turn in turns])
        said = result.summary.set_index("quantity").loc["torque_phase_deg"]
        assert draws.mean() == pytest.approx(said["value"], abs=0.1)
        assert draws.std() == pytest.approx(said["se"], rel=0.35)
        np.testing.assert_array_equal(turns, result.torque_draws(2000, seed=1))
        assert (turns != result.torque_draws(2000, seed=2)).any()

    def test_profile_with_standard_error(self, result):
        profile = result.profile("left")
        assert (profile.crank, profile.crank_deg[0], profile.crank_deg[-1]) == ("left", 0.5, 359.5)
        np.testing.assert_allclose(
            profile.mean, np.roll(result.kept.profiles["left"], 180, axis=1).mean(axis=0)
        )
        naive = np.roll(result.kept.profiles["left"], 180, axis=1).std(axis=0, ddof=1) / np.sqrt(
            profile.n_turns
        )
        assert np.median(profile.se / naive) > 1.3
        own = np.radians(profile.crank_deg)
        assert np.argmax(profile.mean) == pytest.approx(np.argmax(leg_torque(own)), abs=2)


class TestSeriesOfTurns:
    def test_a_ratio_weighs_by_its_denominator(self):
        """Linearised variance of a ratio by Cochran 1977, eq. 2.39: Σ(a − Rb)²/(n − 1)/(n b̄²); from memory."""
        rng = np.random.default_rng(2)
        b = rng.uniform(0.5, 1.5, 400)
        a = 200 * b + rng.normal(0, 10, 400)
        (found,) = turn_means([linear_ratio(a, b)])
        ratio = a.sum() / b.sum()
        textbook = math.sqrt(np.sum((a - ratio * b) ** 2) / 399 / 400) / b.mean()
        assert found.value == pytest.approx(ratio)
        assert found.se == pytest.approx(textbook, rel=0.1)

    def test_a_direction_does_not_care_where_zero_is(self):
        """Angles of 359° and 1° have the mean 0°, with the standard error of −1 and 1."""
        angles = np.tile([359.0, 1.0, 358.0, 2.0], 25)
        found, turned, plain = turn_means(
            [
                linear_direction(np.exp(1j * np.radians(angles)), 1),
                linear_direction(np.exp(1j * np.radians(angles + 90)), 1),
                linear_mean((angles + 180) % 360),
            ]
        )
        assert min(found.value, 360 - found.value) < 1e-9
        assert turned.value == pytest.approx(90.0)
        assert turned.se == pytest.approx(found.se) == pytest.approx(plain.se, rel=0.01)

    def test_an_axis_is_a_direction_of_doubled_angles(self):
        axes = np.tile([179.0, 1.0], 30)
        found = linear_direction(np.exp(2j * np.radians(axes)), 2)
        assert min(found.value, 180 - found.value) < 1e-9

    def test_noise_does_not_inflate_the_amplitude_of_the_mean(self):
        rng = np.random.default_rng(3)
        vectors = 1.0 + 5 * (rng.standard_normal(5000) + 1j * rng.standard_normal(5000))
        (found,) = turn_means([linear_amplitude(vectors)])
        assert found.value == pytest.approx(1.0, abs=4 * found.se)
        assert np.abs(vectors).mean() > 5

    @pytest.mark.parametrize(
        ("turns", "word"), [(1, "no standard error"), (5, "taken as independent"), (50, "")]
    )
    def test_few_turns_say_what_was_assumed(self, turns, word):
        (found,) = turn_means([linear_mean(np.arange(turns) * 1.0)])
        assert word in found.method
        assert math.isnan(found.se) == (turns == 1)


class TestWhatIsSaid:
    def test_quality(self):
        recording = ride(rate_hz=200)
        line = zero_line(
            [ZeroCheck(None, 20, {"left": 0.1, "right": 0.0})],
            [ZeroCheck(None, 22, {"left": 0.4, "right": 0.1})],
            20,
        )
        quality = analyse_trial(recording, line).quality
        assert quality["samples"] == 4000
        assert quality["sample_rate_hz"] == pytest.approx(200)
        assert quality["samples_per_turn"] == pytest.approx(200 * 60 / 90, rel=1e-3)
        assert quality["longest_gap_s"] == pytest.approx(0.005)
        assert (quality["kept_turns"], quality["dropped_turns"], quality["incomplete_turns"]) == (29, 0, 2)
        assert quality["zero_drift_left_Nm"] == pytest.approx(0.3)
        assert quality["zero_drift_Nm"] == pytest.approx(0.4)
        assert quality["cadence_mean_rpm"] == pytest.approx(90, abs=1e-6)
        assert quality["cadence_sd_rpm"] < 1e-3

    def test_few_turns_are_a_caution(self):
        """Thirty turns for a stable mean: Sports Biomechanics 2025, 24:2519."""
        assert analyse_trial(ride(duration_s=20)).cautions == [
            "Only 29 whole turns were kept, fewer than min_turns = 30, which a stable mean needs (Sports Biomechanics 2025,"
            " 24:2519)."
        ]
        assert analyse_trial(ride(duration_s=21)).cautions == []

    def test_many_dropped_turns_are_a_caution(self):
        recording = ride(duration_s=40)
        held = np.where(recording.time_s > 25, 3.0, recording.torque["left"])
        found = analyse_trial(
            Recording(recording.time_s, recording.crank_rad, {**recording.torque, "left": held})
        )
        # 21 turns that are flat, and the one in which the channel stopped
        assert found.cautions == ["22 of 59 whole turns were dropped (stuck channel: 22)."]
        assert (found.quality["kept_turns"], found.quality["dropped_turns"]) == (37, 22)

    def test_nothing_kept_is_refused_with_counts_and_name(self):
        with pytest.raises(
            Refusal, match=r"ride, turns – got all 29 whole turns dropped \(cadence"
        ) as caught:
            analyse_trial(ride(), rules=TurnRules(cadence_max_rpm=60))
        assert caught.value.scope == "trial"

    def test_one_leg_says_what_it_assumed_and_refuses_what_it_cannot_know(self):
        both = ride(duration_s=25)
        found = analyse_trial(
            Recording(both.time_s, both.crank_rad, {"left": both.torque["left"]}), zero_line([], [], 20)
        )
        assert found.layout == "left only"
        assert any("twice the left leg's" in sentence for sentence in found.assumptions)
        assert any("never checked" in sentence for sentence in found.assumptions)
        assert found.summary.set_index("quantity").loc["power_W", "note"] == "twice the measured leg's power"
        for ask in (
            lambda: found.torque_draws(10, 0),
            lambda: found.profile("total"),
            found.torque_at_angles,
        ):
            with pytest.raises(Refusal, match="which cannot tell it"):
                ask()
        assert found.torque_at_angles("left").shape == (360,)

    def test_a_result_survives_the_way_to_another_process(self, result):
        again = pickle.loads(pickle.dumps(result))
        assert again.value("power_W") == result.value("power_W")


def test_speed_through_the_turn():
    """θ = φ + 0.03 sin 2φ with φ growing at 3π rad/s: speed 3π(1 + 0.06 cos 2φ), fastest at 0° and 180°."""
    speed = analyse_trial(ride(duration_s=30)).speed_at_angles()
    assert speed[[0, 180]] == pytest.approx(3 * np.pi * 1.06, rel=1e-4)
    assert speed[[90, 270]] == pytest.approx(3 * np.pi * 0.94, rel=1e-4)
    assert 360 / np.sum(1 / np.degrees(speed)) == pytest.approx(540, rel=1e-6)
