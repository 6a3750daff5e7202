import math

import numpy as np
import pytest
from scipy import stats

from analysis_lib.mechanics.stroke_slope import StrokeSlope, declare_slope, slope_from_trials
from analysis_lib.refusals import Refusal


def test_the_assumption_is_the_straight_line_of_maximal_cycling():
    """Dorel 2005: 118.5 N m at 129.8 rpm, so −118.5/13.593 = −8.72 N m s for the torque there."""
    slope = StrokeSlope().slope_Nms(np.array([118.5, -4.0]), 129.8)
    assert slope == pytest.approx([-118.5 / (129.8 * 2 * math.pi / 60), 0.0])
    with pytest.raises(Refusal, match="where the line of maximal torque ends"):
        StrokeSlope().lost_at(260.0)


def test_a_declared_loss_holds_at_every_cadence():
    slope = declare_slope(0.5, "stated in study.toml")
    # 0.5 % of 20 N·m per rpm is 0.1 N·m over 0.10472 rad/s.
    assert slope.slope_Nms([20.0], 60.0) == slope.slope_Nms([20.0], 110.0)
    assert slope.slope_Nms([20.0], 60.0)[0] == pytest.approx(-0.1 / 0.104719755, rel=1e-8)
    assert "declared, 0.50 %" in slope.sentence()
    for wrong in (-0.1, 6.0, math.nan):
        with pytest.raises(Refusal, match="0 to 5 % per rpm"):
            declare_slope(wrong, "")


def test_the_fit_is_least_squares_with_an_intercept_an_intensity():
    """Against numpy's general least squares on a design matrix with a column an intensity."""
    rng = np.random.default_rng(5)
    cadence = np.array([70.0, 80, 90, 75, 85, 100])
    log_torque = np.log([20.0] * 3 + [30.0] * 3) - 0.004 * cadence + 0.002 * rng.standard_normal(6)
    design = np.column_stack([cadence, [1, 1, 1, 0, 0, 0], [0, 0, 0, 1, 1, 1]])
    solved, rest, *_ = np.linalg.lstsq(design, log_torque, rcond=None)
    se = math.sqrt(rest[0] / 3 * np.linalg.inv(design.T @ design)[0, 0])
    torque = np.exp(log_torque)
    fit = slope_from_trials({"easy": (cadence[:3], torque[:3]), "hard": (cadence[3:], torque[3:])})
    assert (fit.lost_pct_per_rpm, fit.se) == pytest.approx((-100 * solved[0], 100 * se))
    assert (fit.df, fit.n) == (6 - 2 - 1, 6)
    half = stats.t.ppf(0.975, 3) * 100 * se
    assert fit.interval() == pytest.approx((-100 * solved[0] - half, -100 * solved[0] + half))
    assert fit.slope().origin == "recorded"


def test_held_power_tells_of_the_protocol_and_is_refused():
    """T = P/ω at every cadence: the elasticity is −1, whatever the muscles do."""
    cadence = np.array([80.0, 85, 90, 95])
    power_held = 250 / (cadence * 2 * math.pi / 60) * np.array([1.002, 0.998, 1.001, 0.999])
    with pytest.raises(Refusal, match="power that is held"):
        slope_from_trials({"steady": (cadence, power_held)}).slope()


def test_cadences_alike_or_rising_torque_tell_nothing():
    with pytest.raises(Refusal, match=r"within 1\.0 rpm"):
        slope_from_trials({"easy": ([86.0, 87], [20.0, 21]), "hard": ([86.0, 86.5], [30.0, 31])})
    with pytest.raises(Refusal, match="0 round-ring trials"):
        slope_from_trials({})
    with pytest.raises(Refusal, match="a loss above none"):
        slope_from_trials({"easy": ([70.0, 80, 90], [20.0, 21, 22])}).slope()
