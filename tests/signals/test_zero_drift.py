"""Zero torque over temperature and time, from readings made up by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rides import ride

from analysis_lib.refusals import Refusal
from analysis_lib.signals.zero_drift import fit_zero_drift, remove_zero_drift
from analysis_lib.signals.zero_torque import ZeroCheck


class TestZeroDrift:
    def checks(self, noise=0.0):
        """0.5 N m at 20 °C and noon, 0.05 N m more a degree, 0.1 N m less an hour."""
        rng = np.random.default_rng(0)
        hours = np.array([0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5])
        temperature = np.array([17, 19, 20, 20.5, 21, 24, 18, 22])
        torque = 0.5 + 0.05 * (temperature - 20) - 0.1 * hours + noise * rng.standard_normal(8)
        return [
            ZeroCheck(3600 * h, t, {"total": z}) for h, t, z in zip(hours, temperature, torque, strict=True)
        ]

    def test_exact_readings_give_back_what_made_them(self):
        fit = fit_zero_drift(self.checks(), "total")
        assert fit.per_degree.value == pytest.approx(0.05)
        assert fit.per_hour.value == pytest.approx(-0.1)
        assert fit.at(7200, 25.0) == pytest.approx(0.5 + 0.25 - 0.2)
        assert fit.residual_sd_Nm < 1e-12

    def test_noise_is_in_the_intervals(self):
        """Against numpy's least squares with its covariance scaled by the residuals."""
        checks = self.checks(0.02)
        fit = fit_zero_drift(checks, "total")
        design = np.array([[1, c.temperature_C, c.at_s / 3600] for c in checks])
        torque = np.array([c.torque["total"] for c in checks])
        solution, squares, *_ = np.linalg.lstsq(design, torque)
        covariance = np.linalg.inv(design.T @ design) * squares[0] / 5
        assert (fit.per_degree.value, fit.per_hour.value) == pytest.approx(tuple(solution[1:]))
        assert (fit.per_degree.se, fit.per_hour.se) == pytest.approx(tuple(np.sqrt(np.diag(covariance)[1:])))
        assert fit.zero.df == 5

    def test_a_term_that_did_not_vary_is_left_out(self):
        fit = fit_zero_drift([ZeroCheck(3600 * h, 20.0, {"left": 0.2 * h}) for h in range(4)], "left")
        assert fit.per_degree is None
        assert fit.per_hour.value == pytest.approx(0.2)
        assert fit.at(3600, 35.0) == pytest.approx(0.2)

    def test_what_cannot_be_told_apart_is_refused(self):
        with pytest.raises(Refusal, match="rise and fall together"):
            fit_zero_drift([ZeroCheck(3600 * h, 20.0 + h, {"left": 0.2 * h}) for h in range(5)], "left")
        with pytest.raises(Refusal, match="2 checks"):
            fit_zero_drift(self.checks()[:2], "total")
        with pytest.raises(Refusal, match="1 of them without a time or a temperature"):
            fit_zero_drift([*self.checks(), ZeroCheck(None, 20.0, {"total": 0.0})], "total")

    def test_a_drift_that_was_learnt_is_taken_off(self):
        """A recording begun one hour after noon, warming by 1 °C every 10 s: its torque comes back clean."""
        clean = ride(duration_s=20)
        temperature = 18 + clean.time_s / 10
        zero = 0.5 + 0.05 * (temperature - 20) - 0.1 * (1 + clean.time_s / 3600)
        total = clean.torque["left"] + clean.torque["right"]
        drifting = replace(clean, torque={"total": total + zero}, layout="", temperature_C=temperature)
        found = remove_zero_drift(
            drifting, {"total": fit_zero_drift(self.checks(), "total")}, clock_at_zero_s=3600
        )
        np.testing.assert_allclose(found.torque["total"], total, atol=1e-10)
        assert found.assumptions == (
            "Zero torque was taken from a fit of all zero checks on temperature and time.",
        )

    def test_a_fit_that_cannot_be_applied_is_refused(self):
        fit = fit_zero_drift(self.checks(), "total")
        clean = ride(duration_s=2)
        total = replace(clean, torque={"total": clean.torque["left"]}, layout="")
        with pytest.raises(Refusal, match="a recording without a temperature"):
            remove_zero_drift(total, {"total": fit})
        with pytest.raises(Refusal, match="no fit for the channel"):
            remove_zero_drift(replace(clean, temperature_C=clean.time_s), {"left": fit})
