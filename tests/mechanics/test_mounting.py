import math

import numpy as np
import pytest
from scipy.stats import norm

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mounting import advise_mount
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal

DRIVETRAIN = Drivetrain(Ring.ellipse(46, 1.10))
HOLES = [60.0, 65.0, 70.0, 75.0, 80.0]


def draws_around(centre_deg, spread_deg, count=4001):
    """Normal draws without luck: the quantiles of the distribution, in a scrambled order."""
    ranks = np.random.default_rng(round(centre_deg * 7)).permutation(count)
    return norm.ppf((ranks + 0.5) / count, centre_deg, spread_deg) % 180


def test_target_puts_the_largest_arm_at_the_torque_phase():
    """Searched for on the lever arm itself, without the formula for the mount."""
    advice = advise_mount(DRIVETRAIN, {"high": draws_around(100.0, 2.0)}, HOLES)
    row = advice.by_intensity.iloc[0]
    crank = np.radians(np.arange(0, 180, 0.05))
    arm = DRIVETRAIN.with_mount(row["mount_deg"]).lever_arm(crank)
    assert math.degrees(crank[np.argmax(arm)]) == pytest.approx(100.0, abs=0.06)
    peaks = [math.degrees(crank[np.argmax(DRIVETRAIN.with_mount(hole).lever_arm(crank))]) for hole in HOLES]
    assert advice.nearest_mount_deg == HOLES[int(np.argmin(np.abs(np.array(peaks) - 100.0)))]


def test_intervals_and_shares_are_those_of_the_normal_distribution():
    advice = advise_mount(DRIVETRAIN, {"high": draws_around(100.0, 2.0)}, HOLES, level=0.90)
    row = advice.by_intensity.iloc[0]
    reach = 1.6449 * 2.0  # 95th percentile of the standard normal distribution, any table
    assert row["torque_phase_deg"] == pytest.approx(100.0, abs=0.01)
    assert row["torque_phase_low_deg"] == pytest.approx(100.0 - reach, abs=0.01)
    assert row["torque_phase_high_deg"] == pytest.approx(100.0 + reach, abs=0.01)
    assert row["mount_low_deg"] == pytest.approx(row["mount_deg"] - reach, abs=0.01)
    assert row["mount_high_deg"] == pytest.approx(row["mount_deg"] + reach, abs=0.01)
    edges = norm.cdf([62.5, 67.5, 72.5, 77.5], advice.overall_mount_deg, 2.0)
    expected = np.diff([0.0, *edges, 1.0])
    assert advice.probabilities["probability_nearest"].to_numpy() == pytest.approx(expected, abs=0.001)
    assert advice.probabilities["probability_nearest"].sum() == pytest.approx(1)
    assert advice.intensities_agree is None


def test_angles_on_both_sides_of_180_are_neighbours():
    """An axis at 179° and one at 1° have their mean at 0°, never at 90°; mount 175° and −5° are one hole."""
    advice = advise_mount(DRIVETRAIN, {"high": draws_around(0.0, 3.0)}, [175.0, 85.0])
    assert min(advice.overall_phase_deg, 180 - advice.overall_phase_deg) < 0.1
    assert advice.nearest_mount_deg == 175.0
    assert advise_mount(DRIVETRAIN, {"high": draws_around(0.0, 3.0)}, [-5.0, 85.0]).nearest_mount_deg == -5.0
    low, high = advice.overall_phase_interval_deg
    assert high - low == pytest.approx(2 * 1.96 * 3.0, abs=0.05)


@pytest.mark.parametrize(("second", "agree"), [(101.0, True), (105.0, True), (109.0, False)])
def test_intensities_agree_within_their_uncertainty(second, agree):
    """Three draws of SD 2: a difference has SD 2.83 and a Bonferroni reach of 2.394 · 2.83 = 6.77°."""
    draws = {
        "low": draws_around(100.0, 2.0),
        "middle": draws_around(second, 2.0),
        "high": draws_around(101.5, 2.0),
    }
    advice = advise_mount(DRIVETRAIN, draws, HOLES)
    assert advice.intensities_agree is agree
    assert ("compromise" in advice.sentence()) is not agree
    assert list(advice.by_intensity["intensity"]) == ["low", "middle", "high"]
    assert advice.overall_phase_deg == pytest.approx((100 + second + 101.5) / 3, abs=0.05)
    # The mean of three independent draws is less uncertain by √3.
    low, high = advice.overall_phase_interval_deg
    assert high - low == pytest.approx(2 * 1.96 * 2 / math.sqrt(3), rel=0.05)


def test_sentence_names_phase_mount_and_share():
    text = advise_mount(DRIVETRAIN, {"high": draws_around(100.0, 1.0)}, [70.0, 90.0]).sentence()
    assert "torque phase is 100.0° (95 % interval 98.0 to 102.0; 4001 bootstrap draws)" in text
    assert "nearest available mounting is 70° (nearest in more than 99 % of draws)" in text
    assert "Only one intensity" in text


def test_an_interval_that_lacks_something_says_so_beside_the_share():
    """A wanted mount of 69.9° between holes at 65° and 75°: 0.1° from the middle, 70°, though no draw is that far off."""
    phase = DRIVETRAIN.mount_for_peak_arm(69.9)
    holds, lacks = "the scatter of turns alone", ["one period only"]
    sure = advise_mount(DRIVETRAIN, {"high": draws_around(phase, 0.03)}, [65.0, 75.0], holds=holds)
    assert "4001 bootstrap draws that hold the scatter of turns alone)" in sure.sentence()
    assert "nearest in more than 99 % of draws). Only one" in sure.sentence()
    narrow = advise_mount(DRIVETRAIN, {"high": draws_around(phase, 0.03)}, [65.0, 75.0], lacks=lacks)
    assert "in more than 99 % of draws). This interval is too narrow" in narrow.sentence()
    assert (
        "one period only. Once the wanted mount is off by 0.1°, 75° may be the nearest." in narrow.sentence()
    )
    only = advise_mount(DRIVETRAIN, {"high": draws_around(phase, 0.03)}, [65.0], lacks=lacks).sentence()
    assert "This interval is too narrow: one period only. Only one intensity" in only


def test_a_phase_without_direction_chooses_nothing():
    scattered = np.random.default_rng(3).uniform(0, 180, 1000)
    advice = advise_mount(DRIVETRAIN, {"high": scattered}, HOLES)
    assert not advice.is_determined
    assert "too uncertain" in advice.sentence()


@pytest.mark.parametrize(
    ("draws", "mounts", "level", "match"),
    [
        ({}, HOLES, 0.95, "no intensity"),
        ({"low": np.zeros(50)}, HOLES, 0.95, "at least 200"),
        ({"low": np.zeros(300), "high": np.zeros(400)}, HOLES, 0.95, "equally many"),
        ({"low": np.zeros((2, 300))}, HOLES, 0.95, "one row"),
        ({"low": np.full(300, np.nan)}, HOLES, 0.95, "intensity low"),
        ({"low": np.zeros(300)}, [], 0.95, "available_mounts_deg"),
        ({"low": np.zeros(300)}, [10.0, 190.0], 0.95, "none twice"),
        ({"low": np.zeros(300)}, [0.0, 180.0 - 1e-12], 0.95, "none twice"),
        ({"low": np.zeros(300)}, [np.nan], 0.95, "available_mounts_deg"),
        ({"low": np.zeros(300)}, HOLES, 95, "level"),
    ],
)
def test_refusals(draws, mounts, level, match):
    with pytest.raises(Refusal, match=match):
        advise_mount(DRIVETRAIN, draws, mounts, level)


def test_round_ring_cannot_be_mounted():
    with pytest.raises(Refusal, match="round ring"):
        advise_mount(Drivetrain(Ring.round(46)), {"low": np.zeros(300)}, HOLES)
