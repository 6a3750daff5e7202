"""The explorer without a browser: what a choice does, and that moving a slider redraws."""

import math

import numpy as np
import pytest

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_legs import stated_legs
from analysis_lib.reports.ring_mechanics.explored_turn import ANGLES, Choice, ExplorerBench
from analysis_lib.reports.ring_mechanics.explorer import open_explorer

ANGLE = np.arange(ANGLES) * 2 * math.pi / ANGLES
STROKES = {
    "easy": 20.0 * (1 + 0.75 * np.cos(2 * (ANGLE - math.radians(100)))),
    "hard": 40.0 * (1 + 0.75 * np.cos(2 * (ANGLE - math.radians(100)))),
}
BENCH = ExplorerBench(Drivetrain(Ring.round(52)), STROKES, stated_legs(75.0, 0.1725, angles=ANGLES))
START = {
    "axis_ratio": 1.13,
    "mount_deg": 70.0,
    "crank_load_kgm2": 90.0,
    "cadence_rpm": 90.0,
    "intensity": "easy",
}


def turn(**changes):
    return BENCH.turn(Choice(**(START | changes)))


def error(found, ring="oval"):
    rows = found.errors[(found.errors["ring"] == ring) & (found.errors["sectors"] == 1)]
    return float(rows["error_pct"].iloc[0])


@pytest.mark.parametrize("load", [3.0, 90.0])
def test_at_axis_ratio_one_both_rings_are_round(load):
    found = turn(axis_ratio=1.0, crank_load_kgm2=load)
    rings = [curve.drop(columns="ring") for _, curve in found.curves.groupby("ring")]
    np.testing.assert_allclose(rings[0], rings[1], rtol=1e-9, atol=1e-9)
    assert error(found) == pytest.approx(0, abs=1e-9)
    assert np.isnan(found.peak_arm_deg) and "no largest arm" in found.sentence()


def test_a_ring_in_phase_errs_by_the_closed_form():
    """(A ε / 2) with A = 0.75 and axis ratio 1.13: 2.29 % on a chain of steady speed (reference table).

    With the largest inertia of the slider the chain is all but steady; the table's last digit is 0.01.
    """
    bare = BENCH.drivetrain
    oval = Drivetrain(Ring.ellipse(52, 1.13), chainstay_m=bare.chainstay_m)
    found = turn(mount_deg=oval.mount_for_peak_arm(100.0), crank_load_kgm2=10**2.2)
    assert found.peak_arm_deg == pytest.approx(100.0)
    assert error(found) == pytest.approx(2.29, abs=0.03)
    across = turn(mount_deg=oval.mount_for_peak_arm(10.0), crank_load_kgm2=10**2.2)
    assert error(across) == pytest.approx(-2.29, abs=0.03)


def test_power_follows_torque_and_cadence():
    """20 N·m at 90 rpm: 20 · 9.4248 = 188.5 W."""
    assert turn().power_W == pytest.approx(188.496, abs=0.001)
    assert turn(intensity="hard", cadence_rpm=45.0).power_W == pytest.approx(188.496, abs=0.001)


def test_the_legs_answer_with_the_square_of_the_speed():
    def answer(cadence):
        curves = turn(cadence_rpm=cadence).curves
        oval = curves[curves["ring"] == "oval"]
        return float(np.ptp(oval["torque_joints_Nm"] - oval["torque_Nm"]))

    # On a chain of steady speed the shape of the crank speed does not depend on cadence, so energy goes with its square.
    assert answer(100.0) / answer(50.0) == pytest.approx(4, rel=0.1)


@pytest.mark.parametrize(
    ("slider", "value", "arm_moves"),
    [
        ("axis_ratio", 1.2, True),
        ("mount_deg", 30.0, True),
        ("crank_load_kgm2", 5.0, False),
        ("cadence_rpm", 70.0, False),
        ("intensity", "hard", False),
    ],
)
def test_every_slider_acts_on_everything_that_physics_lets_it(slider, value, arm_moves):
    """The lever arm is geometry alone; speed, torque, joint motion and meter error follow everything."""
    # Little inertia, and an arm away from the torque phase, where nothing stands still to first order.
    base = {"crank_load_kgm2": 12.0, "mount_deg": 115.0}
    before, after = turn(**base), turn(**(base | {slider: value}))
    first, second = (found.curves[found.curves["ring"] == "oval"] for found in (before, after))
    moved = {
        name: float(((second[name] - first[name]) / first[name].abs().max()).abs().max())
        for name in ("arm_mm", "speed_rpm", "torque_joints_Nm", "hip_deg_s", "knee_deg_s", "ankle_deg_s")
    }
    assert (moved.pop("arm_mm") > 1e-6) == arm_moves
    assert all(change > 1e-4 for change in moved.values()), moved
    assert abs(error(after) - error(before)) > 1e-4


def test_joints_move_as_fast_as_the_crank_lets_them():
    """A joint's speed is its rate by crank angle times crank speed: the ratio of rings is that of the crank speeds."""
    curves = {
        ring: curve.reset_index(drop=True) for ring, curve in turn(axis_ratio=1.25).curves.groupby("ring")
    }
    for joint in ("hip", "knee", "ankle"):
        fast = curves["round"][f"{joint}_deg_s"].abs() > 20
        ratio = curves["oval"][f"{joint}_deg_s"] / curves["round"][f"{joint}_deg_s"]
        crank = curves["oval"]["speed_rpm"] / curves["round"]["speed_rpm"]
        np.testing.assert_allclose(ratio[fast], crank[fast], rtol=1e-9)


def test_moving_a_slider_redraws():
    pytest.importorskip("ipywidgets")
    box = open_explorer(BENCH, **START).widget()
    sliders, picture = box.children[:-1], box.children[-1]
    seen = {picture.value}
    for slider, value in zip(sliders, (1.2, 30.0, 5.0, 70.0, "hard"), strict=True):
        slider.value = value
        assert picture.value not in seen
        assert 'alt="Six line charts' in picture.value
        seen.add(picture.value)
    assert "Axis ratio 1.20 at 30°" in picture.value


def test_a_choice_that_no_drive_allows_is_answered_in_words():
    """On a chainstay of 150 mm a ring of 52 teeth clears the sprocket when round, and not at an axis ratio of 1.35."""
    pytest.importorskip("ipywidgets")
    tight = ExplorerBench(Drivetrain(Ring.round(52), chainstay_m=0.150), STROKES, BENCH.legs)
    box = open_explorer(tight, **(START | {"axis_ratio": 1.0})).widget()
    assert "<img" in box.children[-1].value
    box.children[0].value = 1.35
    assert "<img" not in box.children[-1].value
    assert "chainstay_m" in box.children[-1].value
    box.children[0].value = 1.0
    assert "<img" in box.children[-1].value


def test_the_still_figure_draws_the_same_bytes_and_an_unknown_intensity_is_refused():
    explorer = open_explorer(BENCH, **START)
    assert explorer.exhibit().svg() == explorer.exhibit().svg()
    assert explorer.exhibit().data is not None
    bare = explorer.exhibit()
    for line in (line for axes in bare.figure.axes for line in axes.lines):
        line.set_visible(False)
    assert (
        len(explorer.exhibit().svg()) - len(bare.svg()) > 8 * 2000
    )  # a curve of 360 points takes more than 2 kB
    with pytest.raises(Refusal, match="one of easy, hard"):
        open_explorer(BENCH, **(START | {"intensity": "sprint"}))


@pytest.mark.parametrize(
    ("slider", "value"),
    [("axis_ratio", 2.5), ("mount_deg", 200.0), ("crank_load_kgm2", -3.0), ("cadence_rpm", math.nan)],
)
def test_a_start_where_a_slider_does_not_run_is_refused(slider, value):
    with pytest.raises(Refusal, match=f"{slider} .* where its slider runs"):
        open_explorer(BENCH, **(START | {slider: value}))


def test_the_sliders_run_as_far_as_they_say():
    pytest.importorskip("ipywidgets")
    controls = dict(zip(START, open_explorer(BENCH, **START).widget().children, strict=False))
    ends = {
        name: (controls[name].min, controls[name].max) for name in ("axis_ratio", "mount_deg", "cadence_rpm")
    }
    assert ends == {"axis_ratio": (1.0, 1.35), "mount_deg": (0.0, 179.0), "cadence_rpm": (50.0, 130.0)}
    assert (controls["crank_load_kgm2"].min, controls["crank_load_kgm2"].max) == pytest.approx((0.0, 2.2))
