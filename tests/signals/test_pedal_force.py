"""Pedal forces and the index of effectiveness, by hand and against a published table."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import CrankForces, forces_on_crank
from analysis_lib.signals.pedal_force import mean_radial_profiles, turn_effectiveness
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.trial import analyse_trial

TABLE = Path(__file__).resolve().parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"

# Park & Caldwell 2021 (doi 10.1016/j.jshs.2020.01.003): tangential force (N) at 0, 15, ... 345°, worked out from
# the published fore-aft and vertical forces outside this project.
TANGENTIAL_BY_15_DEG = [
    32.7, 66.4, 105.6, 143.3, 177.0, 205.5, 225.8, 232.2, 218.6, 182.6, 128.3, 67.6,
    20.1, -5.9, -21.4, -33.9, -42.8, -47.0, -45.8, -39.7, -29.7, -17.8, -5.4, 9.2,
]  # fmt: skip


@pytest.fixture(scope="module")
def forces():
    if not TABLE.exists():
        pytest.skip("shared/data/pedal_force_by_degree.csv is not beside this repository")
    table = pd.read_csv(TABLE)[:360]
    return forces_on_crank(table["ap_mean_N"], table["v_mean_N"], np.radians(table["crank_deg"]))


def test_tangential_force_of_the_published_table(forces):
    assert forces.tangential_N[::15] == pytest.approx(TANGENTIAL_BY_15_DEG, abs=0.05)
    assert forces.torque_Nm(0.170).mean() == pytest.approx(10.804, abs=0.0005)
    assert forces.resultant_N.max() == pytest.approx(239.4, abs=0.05)
    assert np.argmax(forces.resultant_N) == 118


def test_the_mean_of_pointwise_ratios_is_another_number(forces):
    """0.121, the known mistake; the index must not be that."""
    assert np.mean(forces.tangential_N / forces.resultant_N) == pytest.approx(0.121, abs=0.0005)


@pytest.mark.parametrize("leg", ["left", "right"])
def test_index_of_every_turn(forces, leg):
    """The table ridden by one leg, its index turn by turn; the integral over |F| of straight lines is within 1e-4."""
    time = np.arange(0, 20, 0.001)
    crank = 2 * np.pi * 31.348 / 60 * time - 1.0
    own_deg = np.degrees(crank - (np.pi if leg == "left" else 0)) % 360
    degree = np.arange(361)
    parts = [
        np.interp(own_deg, degree, np.append(part, part[0]))
        for part in (forces.tangential_N, forces.radial_N)
    ]
    ridden = type(forces)(*parts)
    recording = Recording(time, crank, {leg: ridden.torque_Nm(0.170)})
    turns = cut_turns(recording)
    found = turn_effectiveness(recording, turns, {leg: ridden})
    assert list(found["turn"]) == list(turns.number[turns.kept]) == list(range(1, 11))
    assert found[f"effectiveness_{leg}"].to_numpy() == pytest.approx(0.5036, abs=0.0001)
    assert found[f"mean_resultant_{leg}_N"].to_numpy() == pytest.approx(forces.resultant_N.mean(), rel=1e-3)


@pytest.mark.parametrize("leg", ["left", "right"])
def test_mean_radial_force_stands_against_the_legs_own_crank(leg):
    """A radial force of 40 − 120·cos(own angle − 10°) N at uneven speed: the series' own values in every degree."""
    time = np.arange(0, 8.0, 0.005)
    crank = 9.0 * time + 0.05 * np.sin(2 * 9.0 * time)
    own = crank - (math.pi if leg == "left" else 0.0)
    ridden = CrankForces(200.0 + 100.0 * np.sin(own), 40.0 - 120.0 * np.cos(own - math.radians(10)))
    recording = Recording(time, crank, {leg: ridden.torque_Nm(0.170)}, radial_N={leg: ridden.radial_N})
    turns = cut_turns(recording)
    found = mean_radial_profiles(recording, turns, {leg: ridden})[leg]
    middles = np.radians(np.arange(0.5, 360))
    assert found == pytest.approx(40.0 - 120.0 * np.cos(middles - math.radians(10)), abs=0.2)


def test_a_trial_gives_the_radial_force_that_was_recorded_and_no_other():
    time = np.arange(0, 8.0, 0.005)
    crank = 9.0 * time
    tangential, radial = 100.0 + 50.0 * np.sin(crank), -120.0 * np.cos(crank)
    recording = Recording(
        time, crank, {"right": 0.17 * tangential}, radial_N={"right": radial}, crank_length_m=0.17
    )
    result = analyse_trial(recording)
    angle = np.radians(np.arange(360))
    assert result.radial_at_angles("right") == pytest.approx(-120.0 * np.cos(angle), abs=0.2)
    with pytest.raises(Refusal, match="radial force of the left pedal"):
        result.radial_at_angles("left")


def test_force_and_frame_by_hand():
    """A force of given tangential and radial parts, turned into the bike's frame by hand and back."""
    angle = np.radians([0.0, 30.0, 90.0, 200.0])
    tangential, radial = np.array([50.0, -20.0, 100.0, 5.0]), np.array([10.0, 40.0, -30.0, 0.0])
    # Tangential unit vector (cos θ, −sin θ) as forward and up; the inward radial one (−sin θ, −cos θ).
    fore_aft = tangential * np.cos(angle) - radial * np.sin(angle)
    vertical = -tangential * np.sin(angle) - radial * np.cos(angle)
    found = forces_on_crank(fore_aft, vertical, angle)
    assert found.tangential_N == pytest.approx(tangential)
    assert found.radial_N == pytest.approx(radial)


def test_refusals():
    forces = forces_on_crank([0.0], [-100.0], [np.pi / 2])
    with pytest.raises(Refusal, match="divide millimetres by 1000"):
        forces.torque_Nm(170)
