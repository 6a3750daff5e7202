"""Ceilings of a channel, declared or not, against channels that only look like it."""

from __future__ import annotations

import numpy as np
import pytest
from rides import ride

from analysis_lib.signals.saturation import saturated_samples

TORQUE = ride(rate_hz=200).torque["left"]


@pytest.mark.parametrize("step_Nm", [0.0, 1 / 32, 0.5])
def test_a_ceiling_that_nobody_declared(step_Nm):
    stored = np.round(TORQUE / step_Nm) * step_Nm if step_Nm else TORQUE
    clipped = np.minimum(stored, 25.0)
    np.testing.assert_array_equal(saturated_samples(clipped, None), np.flatnonzero(stored >= 25.0))


@pytest.mark.parametrize("step_Nm", [0.0, 1 / 32, 0.5, 1.0, 2.0])
def test_coarse_steps_of_equal_turns_are_no_ceiling(step_Nm):
    stored = np.round(TORQUE / step_Nm) * step_Nm if step_Nm else TORQUE
    assert saturated_samples(stored, None).size == 0


def test_a_floor_and_a_dead_channel_are_no_ceiling():
    assert saturated_samples(np.maximum(TORQUE, 0.0), None).size == 0
    assert saturated_samples(np.full(100, 3.0), None).size == 0


def test_declared_full_scale_counts_both_ways():
    np.testing.assert_array_equal(saturated_samples(np.array([7.9, 8.0, -8.0, -7.9, 9.0]), 8.0), [1, 2, 4])
