"""Measures of each turn, against rides whose measures follow by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rides import LEG_HARMONICS, LEG_MEAN, leg_torque, ride

from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.stroke import profile_peak, turn_measures, what_is_unknown


def measures(recording):
    return turn_measures(cut_turns(recording))


def only(recording, *channels):
    return Recording(recording.time_s, recording.crank_rad, {c: recording.torque[c] for c in channels})


@pytest.fixture(scope="module")
def even():
    return measures(ride(ripple=0.0))


def test_power_is_mean_torque_times_speed(even):
    """P = T·2π·n/60; 22 N m at 90 rpm = 207.345 W."""
    assert even["power_W"].to_numpy() == pytest.approx(207.3451, abs=1e-4)
    assert even["cadence_rpm"].to_numpy() == pytest.approx(90.0)
    assert even["power_left_W"].to_numpy() == pytest.approx(103.6726, abs=1e-4)


def test_published_pairs_of_power_and_mean_torque():
    """100, 200, 250, 300 and 400 W at 90 rpm are 10.61, 21.22, 26.53, 31.83 and 42.44 N m (9.5493·P/rpm)."""
    for torque, power in [(10.61, 100), (21.22, 200), (26.53, 250), (31.83, 300), (42.44, 400)]:
        scale = torque / (2 * LEG_MEAN)
        found = measures(ride(ripple=0.0, left=scale, right=scale, duration_s=5))["power_W"]
        assert found.to_numpy() == pytest.approx(power, abs=0.005 * power / torque)


def test_power_is_work_over_time_and_not_the_mean_of_torque_over_time():
    """True mean power = angle-mean torque × 2π/T, exactly, however the speed varies (identity)."""
    found = measures(ride(ripple=0.2))
    assert found["power_W"].to_numpy() == pytest.approx(2 * np.pi * 22 / found["duration_s"], rel=1e-4)


def test_each_leg_is_measured_against_its_own_crank(even):
    own = np.linspace(0, 2 * np.pi, 1_000_001)
    peak = np.degrees(own[np.argmax(leg_torque(own))])
    least = np.degrees(own[np.argmin(leg_torque(own))])
    for leg in ("left", "right"):
        assert even[f"peak_torque_{leg}_deg"].to_numpy() == pytest.approx(peak, abs=0.02)
        assert even[f"min_torque_{leg}_deg"].to_numpy() == pytest.approx(least, abs=0.02)
        assert even[f"peak_torque_{leg}_Nm"].to_numpy() == pytest.approx(leg_torque(own).max(), abs=0.01)
        assert even[f"min_torque_{leg}_Nm"].to_numpy() == pytest.approx(leg_torque(own).min(), abs=0.01)
        for order, (amplitude, angle) in LEG_HARMONICS.items():
            assert even[f"harmonic_{order}_{leg}_Nm"].to_numpy() == pytest.approx(amplitude, abs=1e-3)
            assert even[f"harmonic_{order}_{leg}_deg"].to_numpy() == pytest.approx(
                angle % (360 / order), abs=0.05
            )


def test_both_legs_together_keep_only_even_harmonics(even):
    """Two equal legs half a turn apart: odd harmonics cancel, even ones double."""
    assert even["harmonic_2_Nm"].to_numpy() == pytest.approx(11.0, abs=1e-3)
    assert even["torque_phase_deg"].to_numpy() == pytest.approx(103.0, abs=1e-3)
    assert even["harmonic_1_Nm"].max() < 1e-3
    assert even["left_share_pct"].to_numpy() == pytest.approx(50.0, abs=1e-6)


def test_shares_by_the_stated_formula():
    """Left 48, right 52 parts of work: the left share is 48 % (reference check of the asymmetry formulas)."""
    found = measures(ride(left=0.96, right=1.04))
    assert found["left_share_pct"].to_numpy() == pytest.approx(48.0, abs=1e-4)
    assert found["right_share_pct"].to_numpy() == pytest.approx(52.0, abs=1e-4)


def test_impulses_of_a_torque_that_is_positive_for_a_third_of_the_turn():
    """30 N m for 120° and −6 N m for 240° in 2/3 s: 20/3 and −8/3 N m s, and (20/3)/(28/3) = 5/7."""
    time = np.arange(0, 10, 0.0005)
    crank = 2 * np.pi * 1.5 * time
    torque = np.where(np.degrees(crank) % 360 < 120, 30.0, -6.0)
    found = measures(Recording(time, crank, {"right": torque}))
    assert found["positive_impulse_right_Nms"].to_numpy() == pytest.approx(20 / 3, abs=0.02)
    assert found["negative_impulse_right_Nms"].to_numpy() == pytest.approx(-8 / 3, abs=0.02)
    assert found["positive_impulse_proportion_right"].to_numpy() == pytest.approx(5 / 7, abs=0.002)
    assert found["evenness_right"].to_numpy() == pytest.approx(6 / 30, abs=0.002)


def test_dead_centres_of_both_legs():
    """T = 20 − 12 cos 2(θ − 5°) is smallest, 8 N m, at 5° and 185°; at even speed the size is 8/20."""
    time = np.arange(0, 10, 0.001)
    crank = 2 * np.pi * 1.5 * time
    found = measures(Recording(time, crank, {"total": 20 - 12 * np.cos(2 * (crank - np.radians(5)))}))
    assert found["top_min_torque_Nm"].to_numpy() == pytest.approx(8.0, abs=0.01)
    assert found["top_min_torque_deg"].to_numpy() == pytest.approx(5.0, abs=0.02)
    assert found["bottom_min_torque_deg"].to_numpy() == pytest.approx(185.0, abs=0.02)
    assert found["dead_centre_size"].to_numpy() == pytest.approx(0.4, abs=1e-3)


def test_dead_centre_size_is_of_power_where_the_speed_varies():
    """T = 20 − 12 cos 2θ, 1/ω ∝ 1 + 0.1 cos 2θ: T·ω at 0° is 8/1.1, its mean 20, the size 0.3636."""
    crank = np.arange(0, 40 * np.pi, 0.005)
    time = (crank + 0.05 * np.sin(2 * crank)) / (2 * np.pi * 1.5)
    found = measures(Recording(time, crank, {"total": 20 - 12 * np.cos(2 * crank)}))
    assert found["dead_centre_size"].to_numpy() == pytest.approx(8 / 1.1 / 20, abs=1e-3)
    assert found["speed_variation_pct"].to_numpy() == pytest.approx(100 * (1 / 0.9 - 1 / 1.1), abs=0.01)


def test_a_dead_centre_torque_that_falls_on_past_the_window_is_met_at_its_end():
    time = np.arange(0, 10, 0.001)
    crank = 2 * np.pi * 1.5 * time
    found = measures(Recording(time, crank, {"total": 20 - 12 * np.cos(2 * (crank - np.radians(80)))}))
    assert found["top_min_torque_deg"].to_numpy() == pytest.approx(44.5, abs=1e-6)


class TestLayouts:
    def test_one_leg_is_doubled_and_nothing_is_invented(self):
        """Left-only doubled errs by 2s − 1: with a left share of 48 % by −4 % (exact)."""
        both = ride(left=0.96, right=1.04)
        found, true = measures(only(both, "left")), measures(both)
        assert found["power_W"].to_numpy() == pytest.approx(0.96 * true["power_W"], rel=1e-6)
        assert not [name for name in found if "right" in name or "share" in name or "dead_centre" in name]
        assert "torque_phase_deg" not in found
        assert not found.isna().any().any()
        said = " ".join(what_is_unknown("left only"))
        assert "twice the left leg's" in said
        assert "unknown" in said

    def test_a_total_has_no_legs(self):
        both = ride()
        total = Recording(both.time_s, both.crank_rad, {"total": both.torque["left"] + both.torque["right"]})
        found = measures(total)
        assert not [name for name in found if "left" in name or "right" in name]
        vanishing = [f"harmonic_{order}_deg" for order in (1, 3, 5, 6, 7, 8)]  # no such harmonics
        shared = found.columns.intersection(measures(both).columns).drop(vanishing)
        np.testing.assert_allclose(found[shared], measures(both)[shared], rtol=1e-9, atol=1e-9)
        assert "shares and strokes are unknown" in what_is_unknown("total only")[0]

    def test_the_order_of_channels_does_not_matter(self):
        both = ride()
        one, other = measures(only(both, "left", "right")), measures(only(both, "right", "left"))
        assert list(one) == list(other)
        np.testing.assert_allclose(one, other, rtol=1e-12)


@given(scale=st.floats(0.5, 4))
@settings(deadline=None, max_examples=20)
def test_scaling_torque_scales_power_and_moves_no_angle(scale):
    one, scaled = measures(ride(duration_s=4)), measures(ride(duration_s=4, left=scale, right=scale))
    np.testing.assert_allclose(scaled["power_W"], scale * one["power_W"], rtol=1e-12)
    np.testing.assert_allclose(scaled["torque_phase_deg"], one["torque_phase_deg"], atol=1e-9)
    np.testing.assert_allclose(scaled["evenness"], one["evenness"], rtol=1e-9)


@given(offset_deg=st.floats(-170, 170))
@settings(deadline=None, max_examples=20)
def test_a_wrong_zero_of_the_angle_moves_the_phase_by_as_much(offset_deg):
    recording = ride(duration_s=4, ripple=0.0)
    turned = Recording(recording.time_s, recording.crank_rad + np.radians(offset_deg), recording.torque)
    gap = (
        measures(turned)["torque_phase_deg"].mean()
        - measures(recording)["torque_phase_deg"].mean()
        - offset_deg
    )
    assert abs((gap + 90) % 180 - 90) < 1e-3
    assert measures(turned)["power_W"].mean() == pytest.approx(
        measures(recording)["power_W"].mean(), rel=1e-4
    )


@pytest.mark.parametrize(("rate_hz", "within"), [(50, 2e-3), (100, 5e-4), (200, 2e-4)])
def test_results_do_not_hang_on_the_rate_of_sampling(rate_hz, within):
    """Against 1000 Hz. Linear pieces of length h lose (kh)²/12 of harmonic k (Taylor of sinc²)."""
    coarse, fine = (measures(ride(rate_hz=rate, duration_s=30)).mean() for rate in (rate_hz, 1000))
    assert coarse["power_W"] == pytest.approx(fine["power_W"], rel=within)
    assert coarse["torque_phase_deg"] == pytest.approx(fine["torque_phase_deg"], abs=0.2)
    step = 2 * np.pi * 1.5 / rate_hz
    assert coarse["harmonic_2_Nm"] == pytest.approx(fine["harmonic_2_Nm"], rel=1.5 * (2 * step) ** 2 / 12)


def test_a_peak_across_the_end_of_the_turn():
    """A parabola with its peak at 0°, between the last bin and the first: largest bins at ±0.5°."""
    centre = (np.arange(0.5, 360) + 180) % 360 - 180
    value, angle = profile_peak((40 - 0.01 * centre**2)[None])
    assert value == pytest.approx(40 - 0.01 * 0.5**2)
    assert min(angle[0], 360 - angle[0]) < 1e-9
