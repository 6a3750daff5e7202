"""What must not change a trial, and what must change it in a known way, over generated recordings.

Every ride repeats its turn exactly, so that the results of different turns are the same and only the change counts.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rides import LEG_HARMONICS, LEG_MEAN, crank_at, leg_torque, ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, Recording, read_recording
from analysis_lib.signals.trial import analyse_trial

few = settings(deadline=None, max_examples=6)
cadences = st.floats(50, 120)
QUANTITIES = ("power_W", "mean_torque_Nm", "cadence_rpm", "mean_torque_left_Nm")


def turned_back(recording):
    """The same ride as a film that runs backwards and is seen from the other side, so that the angle still grows."""
    return replace(
        recording,
        time_s=recording.time_s[-1] - recording.time_s[::-1],
        crank_rad=-recording.crank_rad[::-1],
        torque={leg: values[::-1] for leg, values in recording.torque.items()},
    )


@few
@given(cadence=cadences, shift_deg=st.floats(-170, 170))
def test_rotating_the_zero_of_the_angle_moves_the_torque_phase_and_nothing_else(cadence, shift_deg):
    straight = ride(rate_hz=200, duration_s=12, cadence_rpm=cadence)
    rotated = replace(straight, crank_rad=straight.crank_rad + math.radians(shift_deg))
    before, after = analyse_trial(straight), analyse_trial(rotated)
    for name in QUANTITIES:
        assert after.value(name) == pytest.approx(before.value(name), rel=2e-4)
    moved = after.value("torque_phase_deg") - before.value("torque_phase_deg") - shift_deg
    assert (moved + 90) % 180 - 90 == pytest.approx(0, abs=0.1)


@few
@given(cadence=cadences, rate=st.sampled_from([50.0, 137.0, 400.0, 1000.0]))
def test_the_rate_of_sampling_does_not_matter_beyond_the_width_of_its_chords(cadence, rate):
    """Straight lines between samples weaken a harmonic by at most (order · step)²/12; the mean has none to lose."""
    found = analyse_trial(ride(rate_hz=rate, duration_s=15, cadence_rpm=cadence))
    step = 2 * math.pi * cadence / 60 / rate * 1.1  # the crank runs up to 6 % faster than its mean
    assert found.value("mean_torque_left_Nm") == pytest.approx(LEG_MEAN, abs=22 * step**2 / 12 + 2e-3)
    assert found.value("power_W") == pytest.approx(
        2 * LEG_MEAN * math.pi * cadence / 30, rel=step**2 / 3 + 2e-4
    )
    for order, (amplitude, _) in LEG_HARMONICS.items():
        lost = amplitude * (order * step) ** 2 / 12
        assert found.value(f"harmonic_{order}_left_Nm") == pytest.approx(amplitude, abs=1.5 * lost + 0.02)


@few
@given(cadence=cadences, seed=st.integers(0, 1000))
def test_samples_at_uneven_times_give_the_same_trial(cadence, seed):
    """Intervals between a half and three halves of the usual one."""
    times = np.cumsum(np.random.default_rng(seed).uniform(0.0025, 0.0075, 2400))
    crank = crank_at(times, cadence, -30.0)
    uneven = Recording(times, crank, {"left": leg_torque(crank + np.pi), "right": leg_torque(crank)})
    found, even = analyse_trial(uneven), analyse_trial(ride(rate_hz=200, duration_s=12, cadence_rpm=cadence))
    for name in QUANTITIES:
        assert found.value(name) == pytest.approx(even.value(name), rel=2e-3)
    assert found.value("torque_phase_deg") == pytest.approx(even.value("torque_phase_deg"), abs=0.2)


@few
@given(cadence=cadences)
def test_a_film_run_backwards_keeps_work_and_mirrors_the_torque_phase(cadence):
    straight = ride(rate_hz=200, duration_s=12, cadence_rpm=cadence)
    before, after = analyse_trial(straight), analyse_trial(turned_back(straight))
    for name in QUANTITIES:
        assert after.value(name) == pytest.approx(before.value(name), rel=2e-4)
    mirrored = after.value("torque_phase_deg") + before.value("torque_phase_deg")
    assert (mirrored + 90) % 180 - 90 == pytest.approx(0, abs=0.1)


@few
@given(cadence=cadences, part=st.floats(0.3, 0.7))
def test_the_halves_of_a_split_file_tell_what_the_whole_tells(cadence, part):
    whole = ride(rate_hz=200, duration_s=20, cadence_rpm=cadence)
    at = int(part * whole.time_s.size)
    results = [analyse_trial(whole.part(piece)) for piece in (slice(0, at + 1), slice(at, None), slice(None))]
    turns = [int(result.quality["kept_turns"]) for result in results]
    assert turns[2] - turns[0] - turns[1] in (0, 1)
    for name in QUANTITIES:
        values = [result.value(name) for result in results]
        assert values[:2] == pytest.approx([values[2]] * 2, rel=2e-4)


@few
@given(cadence=cadences, shift_Nm=st.floats(-5, 5))
def test_a_zero_torque_that_stays_in_adds_its_own_power(cadence, shift_Nm):
    """ΔP = ΔT · 2π·n/60 for either leg."""
    straight = ride(rate_hz=200, duration_s=12, cadence_rpm=cadence)
    shifted = replace(straight, torque={**straight.torque, "left": straight.torque["left"] + shift_Nm})
    added = analyse_trial(shifted).value("power_W") - analyse_trial(straight).value("power_W")
    assert added == pytest.approx(shift_Nm * 2 * math.pi * cadence / 60, rel=1e-4, abs=1e-6)


def test_one_newton_metre_of_zero_at_90_rpm_is_9_42_watts():
    straight = ride(rate_hz=200, duration_s=12, cadence_rpm=90)
    shifted = replace(straight, torque={**straight.torque, "right": straight.torque["right"] + 1.0})
    added = analyse_trial(shifted).value("power_W") - analyse_trial(straight).value("power_W")
    assert added == pytest.approx(9.42, abs=0.005)


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_byte_order_mark_and_line_ends_change_nothing_and_rows_in_reverse_are_refused(tmp_path, mark, ends):
    straight = ride(rate_hz=100, duration_s=10)
    table = pd.DataFrame(
        {"t": straight.time_s, "angle": np.degrees(straight.crank_rad) % 360, "left": straight.torque["left"]}
    )
    columns = {
        "time_s": ColumnSource("t", "s"),
        "crank_deg": ColumnSource("angle", "deg"),
        "torque_left_Nm": ColumnSource("left", "N m"),
    }
    path = tmp_path / "ride.csv"
    path.write_bytes((mark + table.to_csv(index=False, lineterminator=ends)).encode())
    found = analyse_trial(read_recording(path, RecorderSettings("csv", columns)))
    assert found.value("mean_torque_left_Nm") == pytest.approx(LEG_MEAN, abs=0.01)
    path.write_bytes((mark + table[::-1].to_csv(index=False, lineterminator=ends)).encode())
    with pytest.raises(Refusal, match="line 3, column 't' – got time going backwards"):
        read_recording(path, RecorderSettings("csv", columns))
