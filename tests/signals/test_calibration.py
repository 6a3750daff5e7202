"""Calibration of a torque channel, against published straight lines and readings made up by hand."""

from __future__ import annotations

import numpy as np
import pytest
from rides import ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.calibration import (
    apply_calibration,
    calibrate_statically,
    hung_mass_torque,
)
from analysis_lib.signals.straight_line import fit_linear

# JCGM 100:2008, annex H.3, table H.6: readings of a thermometer (°C) and observed corrections (°C). Typed from
# memory; that the published results below come out of it is the check on the memory as well.
THERMOMETER = [
    (21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164), (23.999, -0.165),
    (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161), (26.511, -0.160),
]  # fmt: skip


def test_calibration_line_of_the_guide():
    """JCGM 100:2008, H.3.3: y₁ = −0.1712(29) °C, y₂ = 0.00218(67), r = −0.930, s = 0.0035 °C, 9 df, about 20 °C."""
    reading, correction = np.array(THERMOMETER).T
    fit = fit_linear({"offset": np.ones(11), "slope": reading - 20}, correction, "thermometer")
    offset, slope = fit.estimate("offset", "", "°C"), fit.estimate("slope", "", "")
    assert (offset.value, offset.se) == (pytest.approx(-0.1712, abs=5e-5), pytest.approx(0.0029, abs=5e-5))
    assert (slope.value, slope.se) == (pytest.approx(0.00218, abs=5e-6), pytest.approx(0.00067, abs=5e-6))
    assert fit.covariance[0, 1] / (offset.se * slope.se) == pytest.approx(-0.930, abs=5e-4)
    assert (fit.residual_sd, fit.df) == (pytest.approx(0.0035, abs=5e-5), 9)


def test_hung_masses():
    """m·g·L·sin θ with standard gravity 9.80665 m/s²: 20 kg on 0.175 m is 34.3233 N m when level, half at 30°."""
    assert hung_mass_torque([10, 20], 0.175) == pytest.approx([17.161638, 34.323275])
    assert hung_mass_torque(20, 0.175, [0, 30, 90, 150]) == pytest.approx(
        [0, 17.161638, 34.323275, 17.161638]
    )


class TestStaticCalibration:
    applied = np.array([0, 10, 20, 30, 40, 30, 20, 10, 0], dtype=float)

    def test_line_linearity_and_hysteresis(self):
        """Going down, each reading is 0.4 N m higher but at the top: hysteresis 0.4 of 40 N m is 1 %."""
        recorded = 0.5 + 1.02 * self.applied + np.where(np.arange(9) > 4, 0.4, 0.0)
        found = calibrate_statically(self.applied, recorded)
        slope, intercept = np.polyfit(self.applied, recorded, 1)
        assert (found.slope.value, found.offset.value) == (pytest.approx(slope), pytest.approx(intercept))
        assert found.hysteresis_pct == pytest.approx(1.0)
        off = np.abs(recorded - intercept - slope * self.applied).max()
        assert found.linearity_pct == pytest.approx(100 * off / 40)
        assert found.largest_load_Nm == 40
        assert found.slope.interval(0.95).low < 1.02 < found.slope.interval(0.95).high

    def test_loads_in_one_direction_show_no_hysteresis(self):
        assert np.isnan(calibrate_statically([0, 10, 20, 30], [0, 10.1, 20, 30]).hysteresis_pct)

    @pytest.mark.parametrize(
        ("applied", "recorded"), [([0, 10], [0, 10]), ([5, 5, 5], [5, 5, 5]), ([0, 1, 2], [0, 1])]
    )
    def test_too_little_is_refused(self, applied, recorded):
        with pytest.raises(Refusal, match="static calibration"):
            calibrate_statically(applied, recorded)

    def test_a_slope_is_divided_out_and_said(self):
        calibration = calibrate_statically(self.applied, 0.3 + 1.05 * self.applied)
        found = apply_calibration(ride(duration_s=2), {"left": calibration})
        np.testing.assert_allclose(found.torque["left"], ride(duration_s=2).torque["left"] / 1.05)
        np.testing.assert_array_equal(found.torque["right"], ride(duration_s=2).torque["right"])
        (said,) = found.assumptions
        assert said.startswith(
            "Torque of left was divided by its calibration slope 1.0500 (95 % interval 1.0500 to"
        )
        assert "up to 40.0 N·m; linearity 0.00 % of the range" in said

    def test_a_slope_far_from_one_needs_an_override(self):
        calibration = calibrate_statically(self.applied, 1.25 * self.applied)
        with pytest.raises(Refusal, match=r"a slope of 1\.2500"):
            apply_calibration(ride(duration_s=2), {"left": calibration})
        found = apply_calibration(ride(duration_s=2), {"left": calibration}, override=True)
        np.testing.assert_allclose(found.torque["left"], ride(duration_s=2).torque["left"] / 1.25)
        with pytest.raises(Refusal, match="a calibration of a recorded channel"):
            apply_calibration(ride(duration_s=2), {"total": calibration}, override=True)
