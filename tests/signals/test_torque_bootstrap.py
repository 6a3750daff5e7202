"""Draws of the mean torque profile: what a block bootstrap of turns must keep and how far it must spread."""

import numpy as np
import pytest

from analysis_lib.signals.torque_bootstrap import draw_mean_profiles, draw_turn_counts


def test_every_draw_holds_as_many_turns_as_the_series():
    counts = draw_turn_counts(23, 4, 500, np.random.default_rng(0))
    assert counts.shape == (500, 23)
    np.testing.assert_array_equal(counts.sum(axis=1), 23)
    assert counts.mean(axis=0) == pytest.approx(np.ones(23), abs=0.25)


def test_blocks_keep_neighbours_together():
    counts = draw_turn_counts(12, 4, 300, np.random.default_rng(1))
    # Three whole circular blocks of four: a turn and the next one differ only where a block begins or ends.
    changes = np.abs(counts - np.roll(counts, -1, axis=1)).sum(axis=1)
    assert changes.max() <= 6


def test_turns_that_are_all_alike_do_not_spread():
    profiles = np.tile(np.sin(np.arange(36.0)), (20, 1))
    drawn = draw_mean_profiles(profiles, 3, 50, np.random.default_rng(2))
    assert drawn == pytest.approx(np.tile(profiles[0], (50, 1)), abs=1e-12)


def test_independent_turns_spread_as_the_standard_error_of_their_mean():
    """With blocks of one turn the bootstrap variance of a mean is Σ(x − x̄)²/n² (Efron & Tibshirani 1993, ch. 5)."""
    profiles = np.random.default_rng(3).normal(size=(60, 8))
    drawn = draw_mean_profiles(profiles, 1, 20000, np.random.default_rng(4))
    assert drawn.mean(axis=0) == pytest.approx(profiles.mean(axis=0), abs=0.005)
    # A standard deviation of 20000 draws is known within about half a per cent: 3 % is six of these.
    assert drawn.std(axis=0) == pytest.approx(profiles.std(axis=0) / np.sqrt(60), rel=0.03)
