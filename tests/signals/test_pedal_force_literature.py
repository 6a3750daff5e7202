"""A published pedal-force table, made into a recording and sent through the whole pipeline.

Park & Caldwell 2021, J Sport Health Sci 10:99 (doi 10.1016/j.jshs.2020.01.003): fore-aft and vertical force
of the left pedal at each degree, mean of 15 riders, two legs, 31.348 rpm, crank 0.170 m; the paper says about
30 W a leg. Crank torque = 0.170·(AP·cos θ − V·sin θ), both legs alike half a turn apart. The expected values
below were computed from the table outside this project, with sums over its 360 degrees.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording
from analysis_lib.signals.torque_profile import torque_phase_deg
from analysis_lib.signals.trial import analyse_trial

TABLE = Path(__file__).resolve().parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"
CADENCE_RPM, CRANK_M, RATE_HZ, DURATION_S = 31.348, 0.170, 1000, 80

# Quantity, expected, half a unit of the last printed digit. Peaks are of a table by degrees: a mean over
# a degree beside them may miss them by T″(1/8 + 1/24) = 0.002 N m, and their angle is open by half a degree.
EXPECTED = [
    ("cadence_rpm", 31.348, 0.0005),
    ("mean_torque_left_Nm", 10.804, 0.0005),
    ("power_left_W", 35.47, 0.005),
    ("peak_torque_left_Nm", 39.509, 0.0025),
    ("peak_torque_left_deg", 103, 0.5),
    ("min_torque_left_Nm", -8.029, 0.001),
    ("min_torque_left_deg", 259, 0.5),
    ("torque_phase_left_deg", 92.30, 0.005),
    ("evenness_left", 0.2735, 0.00005),
    ("positive_impulse_proportion_left", 0.8628, 0.00005),
    ("harmonic_1_left_Nm", 22.876, 0.0005),
    ("harmonic_2_left_Nm", 5.727, 0.0005),
    ("harmonic_3_left_Nm", 1.188, 0.0005),
    ("harmonic_4_left_Nm", 0.980, 0.0005),
    ("mean_torque_Nm", 21.609, 0.0005),
    ("peak_torque_Nm", 32.891, 0.005),
    ("top_min_torque_Nm", 8.842, 0.005),
    ("top_min_torque_deg", 3, 0.5),
    ("bottom_min_torque_deg", 183, 0.5),
    ("power_W", 70.94, 0.005),
    ("dead_centre_size", 0.409, 0.0005),
    ("evenness", 0.6570, 0.00005),
    ("torque_phase_deg", 101.79, 0.005),
]


@pytest.fixture(scope="module")
def leg_torque():
    """Torque of one leg at any angle of its own crank (rad): the table's trigonometric interpolation."""
    if not TABLE.exists():
        pytest.skip("shared/data/pedal_force_by_degree.csv is not beside this repository")
    table = pd.read_csv(TABLE)[:360]
    angle = np.radians(table["crank_deg"].to_numpy())
    torque = CRANK_M * (table["ap_mean_N"] * np.cos(angle) - table["v_mean_N"] * np.sin(angle)).to_numpy()
    spectrum = np.fft.rfft(torque) / 360
    order = np.arange(1, 60)  # beyond lie less than 1e-4 N m

    def at(crank_rad):
        waves = np.exp(1j * np.outer(crank_rad % (2 * np.pi), order))
        return spectrum[0].real + 2 * np.real(waves @ spectrum[1:60])

    return at


@pytest.fixture(scope="module")
def result(leg_torque, tmp_path_factory):
    time = np.arange(DURATION_S * RATE_HZ) / RATE_HZ
    crank = 2 * np.pi * CADENCE_RPM / 60 * time + np.radians(250)
    legs = {"left": leg_torque(crank + np.pi), "right": leg_torque(crank)}
    frame = pd.DataFrame({"t": time, "angle": crank % (2 * np.pi), **legs})
    path = tmp_path_factory.mktemp("ride") / "table.csv"
    frame.to_csv(path, index=False)
    columns = {
        "time_s": ColumnSource("t", "s"),
        "crank_deg": ColumnSource("angle", "rad"),
        "torque_left_Nm": ColumnSource("left", "N m"),
        "torque_right_Nm": ColumnSource("right", "N m"),
    }
    return analyse_trial(read_recording(path, RecorderSettings("csv", columns)))


@pytest.mark.parametrize(("quantity", "expected", "tolerance"), EXPECTED)
def test_published_table(result, quantity, expected, tolerance):
    assert result.value(quantity) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("quantity", [name for name, *_ in EXPECTED if "left" in name])
def test_both_legs_are_the_same_curve(result, quantity):
    assert result.value(quantity) == pytest.approx(result.value(quantity.replace("left", "right")), abs=3e-3)


def test_derived_shares_of_the_harmonics(result):
    """2nd and 4th harmonic of both legs over the mean: 0.5301 and 0.0907."""
    for order, expected in ((2, 0.5301), (4, 0.0907)):
        share = result.value(f"harmonic_{order}_Nm") / result.value("mean_torque_Nm")
        assert share == pytest.approx(expected, abs=0.00005)


def test_downstroke(result):
    """Share of one leg's work from 0° to 180°: 1.1703, from sums that begin at 0° and end at 179°.

    The integral differs from such sums by (T(0°) − T(180°))/2 of a degree, 0.0003 of the turn's work.
    """
    profile = result.profile("right").mean
    assert profile[:180].sum() / profile.sum() == pytest.approx(1.1703, abs=0.0004)


def test_peak_of_both_legs_at_110_or_290(result):
    assert result.value("peak_torque_Nm") == pytest.approx(32.891, abs=0.005)
    at = result.turns["peak_torque_deg"].to_numpy() % 180
    assert at == pytest.approx(110, abs=0.5)


def test_the_torque_at_whole_degrees_is_the_table(result, leg_torque):
    angles = np.radians(np.arange(360))
    np.testing.assert_allclose(result.torque_at_angles("left"), leg_torque(angles), atol=0.02)
    assert torque_phase_deg(result.torque_at_angles()) == pytest.approx(101.79, abs=0.005)
    np.testing.assert_allclose(result.speed_at_angles(), 3.28275, atol=0.000005)
