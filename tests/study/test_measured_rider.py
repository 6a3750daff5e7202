"""A measured stroke through the whole study: Park & Caldwell 2021, J Sport Health Sci 10:99.

Fifteen cyclists, 31.348 rpm, 170 mm cranks. The table itself is not part of this project; the figures below were
computed from it and stand here with that citation. Tolerances are half a unit of the last printed digit, and for
harmonic k of size A, whose samples are joined by straight lines of 1 degree (the table) and 0.94 degrees (the
recording), a further A k^2 (pi/180)^2 / 6, about 2e-4 A at k = 2.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.measured_rider import write_measured_rider

TABLE = Path(__file__).resolve().parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"
PUBLISHED = json.loads(
    """{
    "cadence_rpm": [31.348, 0.001],
    "power_W": [70.94, 0.005],
    "mean_torque_Nm": [21.609, 0.0005],
    "torque_phase_deg": [101.79, 0.005],
    "peak_torque_Nm": [32.891, 0.005],
    "mean_torque_left_Nm": [10.804, 0.0005],
    "mean_torque_right_Nm": [10.804, 0.0005],
    "peak_torque_right_Nm": [39.509, 0.005],
    "peak_torque_right_deg": [103, 0.5],
    "min_torque_right_Nm": [-8.029, 0.005],
    "min_torque_right_deg": [259, 0.5],
    "peak_torque_left_deg": [103, 0.5],
    "torque_phase_left_deg": [92.30, 0.01],
    "harmonic_1_right_Nm": [22.876, 0.0017],
    "harmonic_2_right_Nm": [5.727, 0.0017],
    "positive_impulse_proportion_right": [0.8628, 0.0001],
    "left_share_pct": [50.0, 0.01]
    }"""
)


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    if not TABLE.is_file():
        pytest.skip(f"{TABLE.name} is not there")
    root = write_measured_rider(tmp_path_factory.mktemp("measured") / "study", TABLE, 31.348, 0.170)
    study = open_study(root)
    assert study.errors == []
    return study.load_trial("M1")


@pytest.mark.parametrize("quantity", PUBLISHED)
def test_the_analysis_gives_the_measured_figures(result, quantity):
    value, tolerance = PUBLISHED[quantity]
    assert result.value(quantity) == pytest.approx(value, abs=tolerance)


def test_a_missing_table_or_column_is_refused(tmp_path):
    with pytest.raises(Refusal, match="no such file"):
        write_measured_rider(tmp_path / "study", tmp_path / "none.csv", 31.348, 0.170)
    (tmp_path / "table.csv").write_text("crank_deg,ap_mean_N\n0,1\n", encoding="utf-8")
    with pytest.raises(Refusal, match="no column v_mean_N"):
        write_measured_rider(tmp_path / "study", tmp_path / "table.csv", 31.348, 0.170)
    assert not (tmp_path / "study").exists()
