"""Zero torque over temperature and time, from readings made up by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rides import ride
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.signals.zero_drift import fit_quality, fit_zero_drift, remove_zero_drift
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
        assert fit.residual_sd < 1e-12

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
            "Zero of torque was taken from a fit of all zero checks on temperature and time.",
        )

    def test_a_fit_that_cannot_be_applied_is_refused(self):
        fit = fit_zero_drift(self.checks(), "total")
        clean = ride(duration_s=2)
        total = replace(clean, torque={"total": clean.torque["left"]}, layout="")
        with pytest.raises(Refusal, match="a recording without a temperature"):
            remove_zero_drift(total, {"total": fit})
        with pytest.raises(Refusal, match="no fit for the channel"):
            remove_zero_drift(replace(clean, temperature_C=clean.time_s), {"left": fit})


# JCGM 100:2008, annex H.3, calibration of a thermometer, table H.6 (typed from memory): temperature and correction, °C.
THERMOMETER = [
    (21.521, -0.171),
    (22.012, -0.169),
    (22.512, -0.166),
    (23.003, -0.159),
    (23.507, -0.164),
    (23.999, -0.165),
    (24.513, -0.156),
    (25.002, -0.157),
    (25.503, -0.159),
    (26.010, -0.161),
    (26.511, -0.160),
]


def test_uncertainty_of_a_fitted_value_as_in_the_guide():
    """H.3.4: the correction at 30 °C is −0.1494 °C with a standard uncertainty of 0.0041 °C, 9 degrees of freedom."""
    checks = [ZeroCheck(0.0, temperature, {"total": value}) for temperature, value in THERMOMETER]
    fit = fit_zero_drift(checks, "total")
    assert float(fit.at(0.0, 30.0)) == pytest.approx(-0.1494, abs=5e-5)
    assert fit.standard_uncertainty_at(0.0, 30.0) == pytest.approx(0.0041, abs=5e-5)
    # H.3.3: y1 = −0.1712 °C ± 0.0029 at 20 °C, slope 0.00218 ± 0.00067, s = 0.0035, each standard.
    assert fit.standard_uncertainty_at(0.0, 20.0) == pytest.approx(0.0029, abs=5e-5)
    assert (fit.per_degree.value, fit.per_degree.se) == pytest.approx((0.00218, 0.00067), abs=5e-6)
    assert (fit.residual_sd, fit.zero.df) == (pytest.approx(0.0035, abs=5e-5), 9)


def test_quality_holds_the_uncertainty_of_the_mean_over_the_recording():
    checks = [ZeroCheck(0.0, temperature, {"total": value}) for temperature, value in THERMOMETER]
    clean = ride(duration_s=20)
    total = clean.torque["left"] + clean.torque["right"]
    warming = np.linspace(29.0, 31.0, total.size)  # 30 °C on the mean
    recording = replace(clean, torque={"total": total}, layout="", temperature_C=warming)
    quality = fit_quality({"total": fit_zero_drift(checks, "total")}, recording)
    assert quality == {"zero_fit_total_Nm": pytest.approx(0.0041, abs=5e-5), "zero_fit_df": 9.0}


@pytest.mark.long
def test_intervals_of_the_fitted_zero_hold_the_true_one():
    """Twelve checks over a day, scattered by 0.1 N m: the t interval of the zero at a trial holds it 95 times in 100."""
    rng = np.random.default_rng(11)
    held, runs = 0, 6000  # so that 0.94 to 0.96 is three standard errors of the rate
    for _ in range(runs):
        hours, temperature = rng.uniform(0, 8, 12), rng.uniform(15, 30, 12)
        read = 0.4 + 0.05 * temperature - 0.1 * hours + 0.1 * rng.standard_normal(12)
        checks = [
            ZeroCheck(3600 * h, t, {"left": z}) for h, t, z in zip(hours, temperature, read, strict=True)
        ]
        fit = fit_zero_drift(checks, "left")
        away = float(fit.at(3600 * 5.0, 24.0)) - (0.4 + 0.05 * 24.0 - 0.1 * 5.0)
        half = stats.t.ppf(0.975, fit.zero.df) * fit.standard_uncertainty_at(3600 * 5.0, 24.0)
        held += abs(away) <= half
    assert 0.94 <= held / runs <= 0.96


LENGTH_M = 0.17
FORCE_ZEROS = {  # zero at 20 °C and noon (N), N a degree, N an hour
    "fore_aft_left": (6.0, 0.4, -1.0),
    "vertical_left": (-4.0, -0.2, 0.5),
    "tangential_right": (3.0, 0.3, 2.0),
    "radial_right": (1.0, 0.1, 0.0),
}


class TestForces:
    """Forces of both pedals; each channel's zero is made up by hand and follows temperature and time."""

    def zero(self, channel, temperature, hours):
        start, per_degree, per_hour = FORCE_ZEROS[channel]
        return start + per_degree * (temperature - 20) + per_hour * hours

    def fits(self):
        places = [(0, 17), (0.5, 19), (1, 20), (1.5, 20.5), (2, 21), (2.5, 24), (3, 18), (3.5, 22)]
        checks = [
            ZeroCheck(3600 * h, t, {name: self.zero(name, t, h) for name in FORCE_ZEROS}) for h, t in places
        ]
        return {name: fit_zero_drift(checks, name) for name in FORCE_ZEROS}

    def ridden(self):
        clean = ride(duration_s=20)
        radial = {leg: 40 * np.cos(clean.crank_rad) for leg in ("left", "right")}
        return replace(
            clean,
            radial_N=radial,
            crank_length_m=LENGTH_M,
            temperature_C=18 + clean.time_s / 10,
        )

    def test_each_force_loses_its_own_zero(self):
        """F_t = A cos θ − V sin θ and F_r = −(A sin θ + V cos θ), the left crank half a turn from the right one."""
        clean = self.ridden()
        hours = 1 + clean.time_s / 3600
        zero = {name: self.zero(name, clean.temperature_C, hours) for name in FORCE_ZEROS}
        left = clean.crank_rad - np.pi
        across = zero["fore_aft_left"] * np.cos(left) - zero["vertical_left"] * np.sin(left)
        along = -(zero["fore_aft_left"] * np.sin(left) + zero["vertical_left"] * np.cos(left))
        spoilt = replace(
            clean,
            torque={
                "left": clean.torque["left"] + LENGTH_M * across,
                "right": clean.torque["right"] + LENGTH_M * zero["tangential_right"],
            },
            radial_N={
                "left": clean.radial_N["left"] + along,
                "right": clean.radial_N["right"] + zero["radial_right"],
            },
        )
        found = remove_zero_drift(spoilt, self.fits(), clock_at_zero_s=3600)
        for leg in ("left", "right"):
            np.testing.assert_allclose(found.torque[leg], clean.torque[leg], atol=1e-9)
            np.testing.assert_allclose(found.radial_N[leg], clean.radial_N[leg], atol=1e-9)
        assert found.assumptions[-1].startswith(
            "Zero of pedal forces was taken from a fit of all zero checks"
        )
        fit = self.fits()["tangential_right"]
        assert (fit.zero.unit, fit.per_degree.unit, fit.per_hour.unit) == ("N", "N/°C", "N/h")

    def test_forces_and_torque_may_be_mixed(self):
        fits = self.fits()
        checks = [ZeroCheck(3600 * h, 20.0 + h % 2, {"right": 0.1 * h}) for h in range(6)]
        mixed = {name: fits[name] for name in ("fore_aft_left", "vertical_left")}
        found = remove_zero_drift(self.ridden(), {**mixed, "right": fit_zero_drift(checks, "right")})
        assert found.assumptions[-1].startswith("Zero of pedal forces and of torque was taken")

    def test_a_leg_without_a_fit_or_a_recording_without_temperature_is_refused(self):
        fits = self.fits()
        with pytest.raises(Refusal, match=r"channel 'right' – got no fit"):
            remove_zero_drift(self.ridden(), {"fore_aft_left": fits["fore_aft_left"]})
        with pytest.raises(Refusal, match=r"channel 'left' – got a recording without a temperature"):
            remove_zero_drift(replace(self.ridden(), temperature_C=None), fits)

    def test_only_a_tangential_force_makes_a_zero_of_the_mean_torque(self):
        """The guide's thermometer again, read as newtons: 0.0041 N on 0.17 m; forces that turn with no crank leave none."""
        channels = ("tangential_left", "radial_left", "fore_aft_right", "vertical_right")
        checks = [ZeroCheck(0.0, t, dict.fromkeys(channels, value)) for t, value in THERMOMETER]
        recording = self.ridden()
        recording = replace(recording, temperature_C=np.full(recording.time_s.size, 30.0))
        quality = fit_quality({name: fit_zero_drift(checks, name) for name in channels}, recording)
        assert quality == {
            "zero_fit_left_Nm": pytest.approx(0.0041 * 0.17, abs=5e-5 * 0.17),
            "zero_fit_right_Nm": 0.0,
            "zero_fit_df": 9.0,
        }
