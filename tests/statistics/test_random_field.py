"""Random field thresholds against the reference program, closed forms and simulation of smoothness."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from test_curves import smooth_noise

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.random_field import random_field_threshold


def test_plantar_arch_angle_as_an_open_curve():
    # spm1d on its data set PlantarArchAngle: FWHM 20.37196, resels 4.908707, z* 3.93947 two-tailed at 0.05
    # and 3.40590 at 0.10 (one-tailed 0.05)
    spm1d = pytest.importorskip("spm1d")
    data = spm1d.data.uv1d.tpaired.PlantarArchAngle()
    field = random_field_threshold(data.YA - data.YB, wrap=False)
    assert field.fwhm == pytest.approx(20.37196, abs=6e-6)
    assert field.resels == pytest.approx(4.908707, abs=6e-7)
    assert field.critical_t == pytest.approx(3.93947, abs=6e-6)
    assert random_field_threshold(data.YA - data.YB, 0.90, wrap=False).critical_t == pytest.approx(
        3.40590, abs=6e-6
    )
    reference = spm1d.stats.ttest_paired(data.YA, data.YB).inference(0.05, two_tailed=True, interp=True)
    assert field.critical_t == pytest.approx(reference.zstar, rel=1e-9)


def test_closed_curve_solves_its_own_equation():
    # (2π/√(4 ln 2)) (−ln(1 − α/2))/R = (1 + u²/df)^(−(df − 1)/2), turned around by hand
    field = random_field_threshold(smooth_noise(np.random.default_rng(1), 12), 0.95)
    share = -np.log(0.975) * 2 * np.pi / np.sqrt(4 * np.log(2)) / field.resels
    assert field.critical_t == pytest.approx(np.sqrt(11 * (share ** (-2 / 10) - 1)), rel=1e-9)


def test_smoothness_of_gaussian_noise():
    # White noise smoothed by a Gaussian of standard deviation s has FWHM = s sqrt(8 ln 2) (Kiebel 1999)
    curves = smooth_noise(np.random.default_rng(2), 400, angles=360, width=12.0)
    assert random_field_threshold(curves).fwhm == pytest.approx(12 * np.sqrt(8 * np.log(2)), rel=0.02)


def test_rotation_changes_nothing_on_the_circle():
    curves = smooth_noise(np.random.default_rng(3), 9)
    turned = random_field_threshold(np.roll(curves, 13, axis=1)).critical_t
    assert turned == pytest.approx(random_field_threshold(curves).critical_t, rel=1e-12)


def test_a_very_smooth_curve_has_the_threshold_of_one_test():
    angles = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    curves = np.random.default_rng(4).normal(size=(10, 1)) + 1e-6 * np.sin(angles)
    curves = curves * (1 + 1e-3 * np.cos(angles))
    assert random_field_threshold(curves).critical_t == pytest.approx(stats.t.ppf(0.975, 9), rel=1e-9)


def test_rougher_curves_need_a_higher_threshold():
    rng = np.random.default_rng(5)
    thresholds = [
        random_field_threshold(smooth_noise(rng, 12, 360, width)).critical_t for width in (40, 20, 8)
    ]
    assert thresholds == sorted(thresholds)


def test_refusals():
    with pytest.raises(Refusal, match="random field"):
        random_field_threshold([[1.0, 2.0, 3.0], [2.0, 3.0, 5.0]])
    with pytest.raises(Refusal, match="at least two"):
        random_field_threshold([[1.0, 2.0, 3.0]])
