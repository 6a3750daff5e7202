"""The main job on real measurements: a published pedal-force table, through the whole pipeline, to a page.

Source of the table: Park & Caldwell 2021, J Sport Health Sci 10:99 (doi 10.1016/j.jshs.2020.01.003); 15 recreational
cyclists, 31.348 rpm, crank 0.170 m. The expected values were computed from the table by the sums that define them,
outside this library. The table itself is not part of this project: the test is skipped where it is not at hand.
"""

from pathlib import Path

import pandas as pd
import pytest

from analysis_lib.reports.running.runner import make_report
from analysis_lib.study.synthetic.measured_rider import write_measured_rider

TABLE = Path(__file__).resolve().parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"
CADENCE_RPM, CRANK_M = 31.348, 0.170

EXPECTED = {  # quantity: value, half a unit of the last printed digit
    "mean_torque_right_Nm": (10.804, 0.0005),
    "peak_torque_right_Nm": (39.51, 0.05),
    "peak_torque_right_deg": (103.0, 0.5),
    "min_torque_right_Nm": (-8.03, 0.005),
    "min_torque_right_deg": (259.0, 0.5),
    "torque_phase_deg": (101.79, 0.005),
    "power_W": (70.94, 0.05),
    "positive_impulse_proportion_right": (0.8628, 0.00005),
}


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    if not TABLE.is_file():
        pytest.skip(f"{TABLE.name} is not at hand")
    root = tmp_path_factory.mktemp("measured")
    study = write_measured_rider(root / "study", TABLE, CADENCE_RPM, CRANK_M)
    return make_report(study, root / "report", only_rider="M01", say=lambda line: None)


def test_the_report_of_one_measured_rider_is_made(report):
    assert report.exit_code == 0


@pytest.mark.parametrize("quantity", EXPECTED)
def test_the_page_rests_on_the_published_numbers(report, quantity):
    rows = pd.read_csv(report.folder / "tables" / "riders" / "M01" / "quantities.csv")
    value = rows.set_index("quantity").loc[quantity, "value"]
    expected, half_a_digit = EXPECTED[quantity]
    assert value == pytest.approx(expected, abs=half_a_digit)
