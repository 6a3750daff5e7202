"""Unwrapping an angle, against numpy and against the angle as it was."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rides import crank_at

from analysis_lib.signals.angle import unwrap_turns


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=50))
def test_evenly_sampled_angles_unwrap_as_numpy_does(turns):
    """numpy.unwrap with a period of one turn; steps of exactly half a turn are left to either."""
    steps = np.abs(np.diff(turns)) % 1
    if np.any(np.abs(steps - 0.5) < 1e-9):
        return
    time = np.arange(len(turns)) / 100
    np.testing.assert_allclose(unwrap_turns(np.array(turns), time), np.unwrap(turns, period=1), atol=1e-12)


@pytest.mark.parametrize("missing", [slice(20, 25), slice(100, 145), slice(100, 230), slice(60, 400)])
@pytest.mark.parametrize("start_deg", [0.0, 300.0])
def test_gaps_of_any_length_are_bridged_in_the_right_turn(missing, start_deg):
    """At 90 rpm and 100 Hz, 45 samples are 0.675 and 340 samples 5.1 turns: nearest steps would go wrong."""
    time = np.delete(np.arange(1000) / 100, np.arange(1000)[missing])
    crank = crank_at(time, start_deg=start_deg) / (2 * np.pi)
    np.testing.assert_allclose(unwrap_turns(crank % 1, time), crank - np.floor(crank[0]), atol=1e-9)


def test_wraps_beside_missing_samples():
    turns = np.array([0.90, 0.96, 0.14, 0.20, 0.26, 0.50, 0.98, 0.04])
    time = np.array([0, 1, 4, 5, 6, 10, 18, 19]) / 100
    np.testing.assert_allclose(
        unwrap_turns(turns, time), [0.9, 0.96, 1.14, 1.2, 1.26, 1.5, 1.98, 2.04], atol=1e-12
    )
