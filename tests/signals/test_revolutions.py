"""Which turns a recording holds, and which of them count."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rides import crank_at, leg_torque, ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import REASONS, TurnRules, cut_turns


def counted(turns):
    return {reason: count for reason, count in turns.reasons.items() if count}


def changed(recording, crank_rad=None, **torque):
    crank = recording.crank_rad if crank_rad is None else crank_rad
    return replace(recording, crank_rad=crank, torque={**recording.torque, **torque})


@pytest.mark.parametrize(
    ("start_deg", "end_deg", "whole", "parts"),
    [
        (-0.01, 720.01, 2, 2),
        (0.0, 720.0, 2, 0),
        (0.01, 719.99, 0, 2),
        (-90.0, 269.0, 0, 2),
        (5.0, 355.0, 0, 1),
    ],
)
def test_only_turns_from_dead_centre_to_dead_centre_are_whole(start_deg, end_deg, whole, parts):
    crank = np.radians(np.linspace(start_deg, end_deg, 1000))
    turns = cut_turns(Recording(np.linspace(0, 1.4, 1000), crank, {"total": 20 + 5 * np.cos(2 * crank)}))
    assert int(turns.kept.sum()) == whole
    assert turns.reasons["incomplete"] == parts


def test_turns_tile_the_time_between_dead_centres():
    """At an even 75 rpm from 30° before dead centre, turn k begins at (30/360 + k − 1)·0.8 s."""
    turns = cut_turns(ride(cadence_rpm=75, ripple=0.0, start_deg=-30))
    kept = turns.kept
    np.testing.assert_array_equal(turns.number[kept], np.arange(1, kept.sum() + 1))
    np.testing.assert_allclose(turns.start_s[kept], (30 / 360 + np.arange(kept.sum())) * 0.8, atol=1e-9)
    np.testing.assert_allclose(turns.duration_s[kept], 0.8, atol=1e-9)
    np.testing.assert_allclose(turns.bin_time_s.sum(axis=1), turns.duration_s, rtol=1e-12)


def test_each_turn_holds_its_own_energy():
    """Σ bins of a turn = ∫ T dθ over that turn, here by the trapezoidal rule between added dead centres."""
    recording = ride(rate_hz=200, start_deg=17.0)
    turns = cut_turns(recording)
    crank, torque = recording.crank_rad, recording.torque["right"]
    for row in np.flatnonzero(turns.kept)[:5]:
        start, end = (2 * np.pi * (turns.number[row] + step) for step in (0, 1))
        inside = (crank > start) & (crank < end)
        path = np.concatenate([[start], crank[inside], [end]])
        work = np.trapezoid(np.interp(path, crank, torque), path)
        assert turns.profiles["right"][row].sum() * np.pi / 180 == pytest.approx(work, rel=1e-12)


def test_jitter_neither_makes_nor_loses_turns():
    """Noise of 0.3° sends one step in ten backwards at 1000 Hz; turns, work and profile must not notice."""
    clean = ride(duration_s=60)
    noise = np.radians(0.3) * np.random.default_rng(1).standard_normal(clean.time_s.size)
    noisy = cut_turns(changed(clean, crank_rad=clean.crank_rad + noise))
    steady = cut_turns(clean)
    assert np.mean(np.diff(clean.crank_rad + noise) < 0) > 0.05
    assert counted(noisy) == counted(steady) == {"incomplete": 2}
    error = noisy.profiles["right"][1:-1].mean(axis=0) - steady.profiles["right"][1:-1].mean(axis=0)
    assert np.sqrt(np.mean(error**2)) < 0.05
    np.testing.assert_allclose(noisy.start_s[1:], steady.start_s[1:], atol=0.002)


@pytest.mark.parametrize("rate_hz", [50, 100, 1000])
def test_the_rate_of_sampling_does_not_move_the_profile(rate_hz):
    """Mean profile against the ride's own torque at the middle of each degree, within h²/8 · max |T''|."""
    turns = cut_turns(ride(rate_hz=rate_hz, duration_s=30, start_deg=-0.02))
    middle = np.radians(np.arange(0.5, 360))
    bound = 60.0 * (2 * np.pi * 1.5 * 1.06 / rate_hz) ** 2 / 8 + 1e-3
    np.testing.assert_allclose(
        turns.profiles["right"][turns.kept].mean(axis=0), leg_torque(middle), atol=bound
    )


class TestReasons:
    """One fault at a time; the turns it touches are dropped for it and no others."""

    def test_gap(self):
        recording = ride()
        lost = (recording.time_s > 5.0) & (recording.time_s < 5.2)
        keep = ~lost
        gappy = Recording(
            recording.time_s[keep],
            recording.crank_rad[keep],
            {channel: values[keep] for channel, values in recording.torque.items()},
        )
        assert counted(cut_turns(gappy)) == {"incomplete": 2, "gap in samples": 1}
        assert counted(cut_turns(gappy, TurnRules(max_gap_s=0.3))) == {"incomplete": 2}

    def test_backwards(self):
        recording = ride()
        back = np.radians(90) * np.exp(-(((recording.time_s - 6.3) / 0.05) ** 2))
        stepped_back = changed(recording, crank_rad=recording.crank_rad - back)
        turns = cut_turns(stepped_back)
        assert counted(turns) == {"incomplete": 2, "backwards": 1}
        dropped = turns.start_s[turns.reason == "backwards"]
        assert dropped[0] < 6.3 < dropped[0] + 60 / 90

    def test_saturated(self):
        recording = replace(
            ride(), saturated={"left": np.array([4000, 4001]), "right": np.array([], dtype=int)}
        )
        turns = cut_turns(recording)
        assert counted(turns) == {"incomplete": 2, "saturated channel": 1}
        row = int(np.flatnonzero(turns.reason == "saturated channel")[0])
        assert turns.start_s[row] < 4.0 < turns.start_s[row + 1]

    def test_no_torque(self):
        recording = ride()
        off = np.where(recording.time_s > 10, 0.01, 1.0)
        turns = cut_turns(changed(recording, **{c: off * v for c, v in recording.torque.items()}))
        late = turns.start_s > 10
        assert set(turns.reason[late]) == {"coasting or no torque", "incomplete"}
        assert counted(turns)["coasting or no torque"] == 14

    def test_standstill(self):
        """The crank stops for 0.3 s, as when a rider coasts: the turn is long but in the band."""
        recording = ride()
        paused = np.interp(
            recording.time_s - 0.3 * (recording.time_s > 7), recording.time_s, recording.crank_rad
        )
        paused = np.where(
            (recording.time_s > 7) & (recording.time_s < 7.3), crank_at(7.0, start_deg=-30), paused
        )
        turns = cut_turns(changed(recording, crank_rad=paused))
        assert counted(turns) == {"incomplete": 2, "coasting or no torque": 1}

    def test_stuck(self):
        """At 12 s the left channel stops: in the turn from 11.4 s to 12.1 s, which is no more to be used than the rest."""
        recording = ride()
        held = np.where(recording.time_s > 12, recording.torque["left"][12000], recording.torque["left"])
        turns = cut_turns(changed(recording, left=held))
        assert counted(turns) == {"incomplete": 2, "stuck channel": 12}
        assert turns.start_s[turns.kept].max() < 11
        assert counted(cut_turns(changed(recording, left=held), TurnRules(min_torque_range_Nm=0))) == {
            "incomplete": 2
        }

    def test_cadence(self):
        turns = cut_turns(ride(), TurnRules(cadence_min_rpm=100))
        assert counted(turns) == {"incomplete": 2, "cadence out of band": 29}
        assert counted(cut_turns(ride(), TurnRules(cadence_min_rpm=89.9, cadence_max_rpm=90.1))) == {
            "incomplete": 2
        }

    def test_precedence(self):
        """A turn that breaks all rules is counted once, under the first of REASONS."""
        recording = ride(left=0.0, right=0.0)
        everywhere = np.arange(recording.time_s.size)
        recording = replace(recording, saturated={"left": everywhere})
        turns = cut_turns(recording, TurnRules(max_gap_s=0, cadence_min_rpm=100))
        assert counted(turns) == {"incomplete": 2, "gap in samples": 29}
        turns = cut_turns(recording, TurnRules(cadence_min_rpm=100))
        assert counted(turns) == {"incomplete": 2, "saturated channel": 29}
        assert REASONS[:3] == ("incomplete", "gap in samples", "backwards")
        assert sum(turns.reasons.values()) + turns.kept.sum() == turns.reason.size == len(turns.table())


def test_nothing_kept_is_refused_with_the_counts():
    with pytest.raises(Refusal, match=r"all 29 whole turns dropped \(cadence out of band: 29\)") as caught:
        cut_turns(ride(), TurnRules(cadence_min_rpm=120)).only_kept()
    assert caught.value.scope == "trial"


@pytest.mark.parametrize("wrong", [{"max_gap_s": -1}, {"cadence_min_rpm": 90, "cadence_max_rpm": 60}])
def test_rules_that_contradict_themselves_are_refused(wrong):
    with pytest.raises(Refusal, match="turn rule"):
        TurnRules(**wrong)


def test_table_names_its_units():
    table = cut_turns(ride()).table()
    assert list(table.columns) == [
        "turn", "start_s", "duration_s", "cadence_rpm",
        "mean_torque_left_Nm", "mean_torque_right_Nm", "mean_torque_Nm", "kept", "reason",
    ]  # fmt: skip
    assert table.loc[table["kept"], "mean_torque_Nm"].mean() == pytest.approx(22.0, abs=1e-3)


@given(part=st.floats(0.2, 0.8), rate=st.sampled_from([50, 200, 1000]))
@settings(deadline=None, max_examples=20)
def test_a_recording_may_be_split_at_any_sample(part, rate):
    """Both parts together hold the same whole turns, but for the one that the cut goes through."""
    whole = ride(rate_hz=rate, duration_s=10)
    at = int(part * whole.time_s.size)
    pieces = [slice(0, at + 1), slice(at, None)]
    parts = [
        cut_turns(Recording(whole.time_s[p], whole.crank_rad[p], {c: v[p] for c, v in whole.torque.items()}))
        for p in pieces
    ]
    profiles = np.concatenate([part.profiles["total"][part.kept] for part in parts])
    turns = cut_turns(whole)
    expected = turns.profiles["total"][turns.kept]
    assert len(expected) - len(profiles) in (0, 1)
    nearest = np.abs(profiles[:, None] - expected[None]).max(axis=2).min(axis=1)
    assert nearest.max() < 1e-9
