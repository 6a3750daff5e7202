"""The rider's stroke over periods: how far its draws spread, and the way back from an oval ring."""

import math

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.prediction import SAME_JOINTS, predict_on_oval
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_legs import stated_legs
from analysis_lib.reports.rider.stroke_draws import (
    PeriodStroke,
    StrokeDraws,
    combine_periods,
    round_less_oval_Nm,
)

ANGLE = np.arange(360) * 2 * math.pi / 360
TORQUE = 26.0 * (1 + 0.6 * np.cos(2 * (ANGLE - math.radians(100))))


def period(number, mean, turns_sd=0.0, draws=4000):
    noise = np.random.default_rng(number).normal(scale=turns_sd, size=(draws, 1))
    return PeriodStroke(number, mean + noise, mean, 90.0)


def test_one_period_spreads_by_its_turns_alone():
    only = period(1, TORQUE, turns_sd=0.5)
    np.testing.assert_array_equal(combine_periods([only], seed=7), only.draws_Nm)


def test_periods_that_agree_add_nothing():
    drawn = combine_periods([period(1, TORQUE), period(2, TORQUE)], seed=7)
    np.testing.assert_allclose(drawn, np.tile(TORQUE, (4000, 1)), rtol=1e-9)


@pytest.mark.parametrize("means", [(20.0, 24.0), (20.0, 23.0, 27.0, 22.0)])
def test_the_spread_between_periods_is_that_of_a_mean_of_periods(means):
    """The standard error of a mean of k values is their standard deviation over √k."""
    periods = [period(number, np.full(360, mean)) for number, mean in enumerate(means)]
    drawn = combine_periods(periods, seed=7)
    # The standard deviation of 4000 normal draws is known within 1.1 %.
    wanted = np.std(means, ddof=1) / math.sqrt(len(means))
    assert drawn[:, 0].std() == pytest.approx(wanted, rel=0.04)
    assert drawn[:, 0].mean() == pytest.approx(np.mean(means), abs=4 * wanted / math.sqrt(4000))


def test_a_period_moves_every_intensity_the_same_way():
    easy = combine_periods([period(1, np.full(360, 20.0)), period(2, np.full(360, 22.0))], seed=7)
    hard = combine_periods([period(1, np.full(360, 40.0)), period(2, np.full(360, 44.0))], seed=7)
    assert hard[:, 0] - 42.0 == pytest.approx(2 * (easy[:, 0] - 21.0))


def test_the_stroke_comes_back_from_the_oval_ring():
    """Carried to the oval ring with unchanged joint torques and back again, a stroke is what it was."""
    legs = stated_legs(75.0, 0.170)
    drives = {"round": Drivetrain(Ring.round(50)), "oval": Drivetrain(Ring.ellipse(50, 1.2), 70.0)}
    there = predict_on_oval(drives["round"], drives["oval"], TORQUE, 90.0, legs=legs.pair).curves
    oval = there.loc[there["assumption"] == SAME_JOINTS, "torque_Nm"].to_numpy()
    assert np.ptp(oval - TORQUE) > 1.0
    stroke = StrokeDraws({"easy": np.tile(oval, (2, 1))}, {"easy": oval}, {"easy": 90.0}, {"easy": 1})
    back = stroke.shifted(round_less_oval_Nm(drives, stroke, ["easy"], legs))
    assert back.mean_Nm["easy"] == pytest.approx(TORQUE, abs=1e-6)
    assert back.torque_Nm["easy"][1] == pytest.approx(back.mean_Nm["easy"])


def test_the_phase_of_a_stroke_is_the_axis_it_was_made_with():
    stroke = StrokeDraws({"easy": TORQUE[None, :]}, {"easy": TORQUE}, {"easy": 90.0}, {"easy": 1})
    assert stroke.phases_deg()["easy"] == pytest.approx([100.0])
    assert "too narrow" in stroke.sentence()
    assert stroke.sentence({"easy": "Easy (RPE 11)"}.get).startswith("At Easy (RPE 11) the stroke")
    several = StrokeDraws(stroke.torque_Nm, stroke.mean_Nm, stroke.cadence_rpm, {"easy": 3})
    assert several.sentence().endswith("from period to period (3 periods).")


def test_legs_weigh_what_the_named_table_says():
    """de Leva 1996, Table 4 (as read in four implementations): female leg 0.1478 + 0.0481 + 0.0129 of body mass."""
    assert stated_legs(60.0, 0.170, "de Leva 1996, female").segments.mass_kg == pytest.approx(60 * 0.2088)
    with pytest.raises(Refusal, match="segment_table"):
        stated_legs(60.0, 0.170, "Dempster")
    for crank_m in (0.150, 0.165, 0.185):  # the leg reaches the pedal with every usual crank
        stated_legs(75.0, crank_m)
