import math
import time

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mount_criteria import SMALLEST_THAT_MATTERS, compare_mounts
from analysis_lib.mechanics.mount_losses import CRITERIA, mount_losses, turn_ring
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
HOLES = [55.0, 65.0, 75.0, 85.0]


def strokes(phase_deg, spread_deg=2.0, draws=1000, amplitude=0.6, seed=1):
    phases = np.radians(phase_deg + np.random.default_rng(seed).normal(0, spread_deg, draws))
    return 25.0 * (1 + amplitude * np.cos(2 * (ANGLE - phases[:, None])) + 0.08 * np.cos(4 * ANGLE))


def drivetrain(inertia=8.9, axis_ratio=1.10):
    return Drivetrain(Ring.ellipse(52, axis_ratio), wheel_inertia_kgm2=inertia)


@pytest.mark.parametrize("inertia", [8.9, 0.5])
@pytest.mark.parametrize("mount_deg", [0.0, 33.3, 70.0, 140.0])
def test_losses_are_those_of_the_mounted_ring(inertia, mount_deg):
    """One mounting at a time, with the exact crank speed and the arm of the mounted ring, angle by angle."""
    torque = strokes(100.0, draws=1)
    mounted = drivetrain(inertia).with_mount(mount_deg)
    speed = mounted.steady_speed(torque[0], 85.0)
    gear = mounted.gear(ANGLE)
    phase = -np.angle(np.sum(torque[0] * np.exp(-2j * ANGLE))) / 2
    missing = np.maximum(0, 1 - torque[0] / torque[0].mean())
    expected = {
        "arm at the torque phase": 1 - float(mounted.lever_arm(phase)) / mounted.ring.semi_major_m,
        "crank speed": np.std(speed) / speed.mean(),
        "peak force": (torque[0] * gear).max() / (torque[0] * gear).mean(),
        "dead centres": np.sum(missing / speed) / np.sum(1 / speed),
    }
    found = mount_losses(turn_ring(drivetrain(inertia), 360), torque, 85.0, np.radians([mount_deg]))
    assert found["arm at the torque phase"][0, 0] == pytest.approx(
        expected["arm at the torque phase"], abs=2e-5
    )
    assert found["peak force"][0, 0] == pytest.approx(expected["peak force"], abs=2e-5)
    # First order in a swing of some 10 %: good to about a per cent of the loss.
    assert found["crank speed"][0, 0] == pytest.approx(expected["crank speed"], rel=0.01)
    assert found["dead centres"][0, 0] == pytest.approx(expected["dead centres"], rel=0.002)


def test_on_a_steady_chain_every_mounting_has_the_same_crank_speed():
    found = compare_mounts(drivetrain(math.inf), {"high": strokes(100.0)}, {"high": 85.0}, HOLES)
    speed = found.curves[found.curves["criterion"] == "crank speed"]
    assert np.ptp(speed["loss"]) < 1e-12
    assert speed["flat"].all()
    verdict = found.verdicts.set_index("criterion").loc["crank speed"]
    assert verdict["verdict"] == "any of these"
    assert verdict["mounts_deg"] == HOLES


def test_arm_criterion_finds_the_mount_for_the_torque_phase():
    base = drivetrain()
    found = compare_mounts(base, {"high": strokes(100.0, 1.0)}, {"high": 85.0}, HOLES)
    arm = found.curves[found.curves["criterion"] == "arm at the torque phase"].set_index("mount_deg")
    assert arm["loss"].idxmin() == pytest.approx(base.mount_for_peak_arm(100.0), abs=0.75)
    # An ellipse loses (1 − 1/e²)/2 · sin² of the angle away from its axis, to second order.
    assert arm.loc[10.0, "loss"] == pytest.approx(
        1 - math.hypot(math.cos(math.radians(60.6)), math.sin(math.radians(60.6)) / 1.1), abs=0.003
    )


def test_verdict_one_any_and_not_enough():
    """Holes 10° apart: at e = 1.10 the hole 5° off loses (1 − 1/1.21)/2·sin² 5° = 0.07 % of the arm."""
    base = drivetrain()
    target = 100.0
    mount = base.mount_for_peak_arm(target)
    holes = [mount - 20.0, mount, mount + 20.0]
    finest = {**SMALLEST_THAT_MATTERS, "arm at the torque phase": 0.002}
    one = compare_mounts(base, {"a": strokes(target, 1.0)}, {"a": 85.0}, holes, smallest_that_matters=finest)
    row = one.verdicts.set_index("criterion").loc["arm at the torque phase"]
    assert row["verdict"] == "this one"
    assert row["mounts_deg"] == [pytest.approx(mount)]
    assert "is the one" in one.sentence("arm at the torque phase")
    coarse = {**SMALLEST_THAT_MATTERS, "arm at the torque phase": 0.05}
    anyone = compare_mounts(
        base, {"a": strokes(target, 1.0)}, {"a": 85.0}, holes, smallest_that_matters=coarse
    )
    assert anyone.verdicts["verdict"].iloc[0] == "any of these"
    assert "any of" in anyone.sentence("arm at the torque phase")
    unsure = compare_mounts(
        base, {"a": strokes(target + 10.0, 15.0)}, {"a": 85.0}, holes, smallest_that_matters=finest
    )
    assert unsure.verdicts["verdict"].iloc[0] == "not decided"
    assert "record more turns" in unsure.sentence("arm at the torque phase")


def test_probabilities_and_regrets_by_counting():
    """Torque phases in two camps, 700 and 300 draws: each camp's own hole is the best in its share of draws."""
    base = drivetrain()
    phases = np.radians(np.where(np.arange(1000) < 700, 100.0, 120.0))
    torque = 25.0 * (1 + 0.6 * np.cos(2 * (ANGLE - phases[:, None])))
    holes = [base.mount_for_peak_arm(100.0), base.mount_for_peak_arm(120.0)]
    table = compare_mounts(base, {"a": torque}, {"a": 85.0}, holes).mountings
    arm = table[table["criterion"] == "arm at the torque phase"]
    assert arm["probability_best"].tolist() == [0.7, 0.3]
    # 20° from the axis an ellipse of 1.10 has hypot(cos 20°, sin 20°/1.1) of its largest arm.
    loss = 1 - math.hypot(math.cos(math.radians(20)), math.sin(math.radians(20)) / 1.1)
    assert arm["regret"].to_numpy() == pytest.approx([0.3 * loss, 0.7 * loss], rel=0.1)


def test_three_intensities_are_averaged():
    cadence = {"low": 85.0, "high": 90.0}
    low, high = strokes(95.0, seed=1), strokes(105.0, seed=2)
    both = compare_mounts(drivetrain(), {"low": low, "high": high}, cadence, HOLES)
    alone = {
        name: compare_mounts(drivetrain(), {name: torque}, cadence, HOLES)
        for name, torque in (("low", low), ("high", high))
    }
    losses = [found.curves["loss"] for found in alone.values()]
    assert both.curves["loss"].to_numpy() == pytest.approx(np.mean(losses, axis=0), rel=1e-12)
    assert both.best_by_intensity["criterion"].tolist() == both.verdicts["criterion"].tolist()
    for name, found in alone.items():
        assert both.best_by_intensity[name].tolist() == found.verdicts["best_mount_deg"].tolist()


def test_half_a_turn_changes_nothing():
    found = mount_losses(
        turn_ring(drivetrain(), 360), strokes(100.0, draws=3), 85.0, np.radians([40.0, 220.0])
    )
    for loss in found.values():
        assert loss[:, 0] == pytest.approx(loss[:, 1], rel=1e-9)


def test_a_thousand_draws_at_three_intensities_take_under_two_seconds():
    draws = {
        name: strokes(phase, seed=phase) for name, phase in (("low", 98), ("middle", 101), ("high", 104))
    }
    begun = time.perf_counter()
    compare_mounts(drivetrain(), draws, dict.fromkeys(draws, 85.0), HOLES)
    assert time.perf_counter() - begun < 2.0


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"drivetrain": Drivetrain(Ring.round(52))}, "round ring"),
        ({"torque_draws_Nm": {}}, "no intensity"),
        ({"torque_draws_Nm": {"a": strokes(100.0, draws=20)}}, "at least 200 draws"),
        ({"torque_draws_Nm": {"a": -strokes(100.0)}}, "intensity a"),
        ({"mean_cadence_rpm": {}}, "mean_cadence_rpm, intensity a"),
        ({"available_mounts_deg": []}, "available_mounts_deg"),
        ({"level": 95.0}, "level"),
        ({"smallest_that_matters": {"peak force": 0.02}}, "smallest_that_matters"),
    ],
)
def test_refusals(changes, match):
    arguments = {
        "drivetrain": drivetrain(),
        "torque_draws_Nm": {"a": strokes(100.0)},
        "mean_cadence_rpm": {"a": 85.0},
        "available_mounts_deg": HOLES,
    }
    with pytest.raises(Refusal, match=match):
        compare_mounts(**{**arguments, **changes})


def test_every_criterion_has_a_smallest_difference():
    assert set(SMALLEST_THAT_MATTERS) == set(CRITERIA)
