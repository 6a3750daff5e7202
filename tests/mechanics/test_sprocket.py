import math

import numpy as np
import pytest

from analysis_lib.mechanics.sprocket import (
    CHAIN_PITCH_M,
    check_teeth,
    chordal_speed_variation,
    mean_arm_m,
)
from analysis_lib.refusals import Refusal

# Pitch circle diameters (mm): a handbook table for 25.4 mm pitch (D = p / sin(180°/z), ISO 606), halved.
# The halved figures end in half a thousandth, and the handbook rounds to 0.01 mm at 25.4 mm pitch.
HANDBOOK_DIAMETER_MM = {
    11: 45.080,
    12: 49.070,
    17: 69.115,
    28: 113.430,
    34: 137.640,
    36: 145.715,
    38: 153.790,
    46: 186.100,
    50: 202.260,
    52: 210.340,
    53: 214.380,
}

# 1 − cos(180°/z) in per cent, the handbooks' polygon action, computed apart to three decimals.
CHORDAL_PERCENT = {11: 4.051, 12: 3.407, 17: 1.703, 28: 0.629, 34: 0.427, 46: 0.233, 52: 0.182, 53: 0.176}


@pytest.mark.parametrize(("teeth", "diameter_mm"), HANDBOOK_DIAMETER_MM.items())
def test_mean_arm_follows_from_the_handbook_s_pitch_circle(teeth, diameter_mm):
    """z sides of D sin(π/z) around the wheel, over 2π (Cauchy)."""
    arm_mm = teeth * diameter_mm * math.sin(math.pi / teeth) / (2 * math.pi)
    assert mean_arm_m(teeth) * 1000 == pytest.approx(arm_mm, abs=0.0025)


@pytest.mark.parametrize(("teeth", "percent"), CHORDAL_PERCENT.items())
def test_chordal_variation(teeth, percent):
    assert chordal_speed_variation(teeth) * 100 == pytest.approx(percent, abs=0.0005)


@pytest.mark.parametrize("teeth", [11, 17, 52])
def test_mean_arm_is_the_mean_arm_of_the_chain_polygon(teeth):
    """A regular polygon through the ISO 606 pitch circle, turned slowly past the line of chain (Cauchy)."""
    corners = np.arange(teeth) * 2 * math.pi / teeth
    radius = 0.0127 / math.sin(math.pi / teeth) / 2
    within_one_tooth = (np.arange(20_000) + 0.5) / 20_000 * 2 * math.pi / teeth
    arms = (radius * np.cos(corners[:, None] - within_one_tooth[None, :])).max(axis=0)
    assert mean_arm_m(teeth) == pytest.approx(arms.mean(), rel=1e-9)
    assert chordal_speed_variation(teeth) == pytest.approx(1 - arms.min() / arms.max(), rel=1e-4)
    assert radius * math.cos(math.pi / teeth) < mean_arm_m(teeth) < radius


def test_gap_between_the_two_conventions_at_52_teeth():
    """Reference: 210.340 against 210.212 mm, 0.06 %."""
    gap = HANDBOOK_DIAMETER_MM[52] / (2000 * mean_arm_m(52)) - 1
    assert gap == pytest.approx(0.0006, abs=0.00005)


def test_pitch_is_half_an_inch():
    assert pytest.approx(0.5 * 0.0254, rel=1e-15) == CHAIN_PITCH_M


@pytest.mark.parametrize("teeth", [8, 151, 17.5, 0, -17, True, math.nan, math.inf, "17"])
def test_refuses_what_no_chain_wheel_has(teeth):
    with pytest.raises(Refusal, match="sprocket_teeth"):
        check_teeth(teeth, "sprocket_teeth")


def test_takes_whole_numbers_of_any_kind():
    assert check_teeth(np.int64(17), "teeth") == 17
    assert check_teeth(17.0, "teeth") == 17
