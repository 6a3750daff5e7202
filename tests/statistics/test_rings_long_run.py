"""Several rings keep their promise in the long run where their errors are alike, and are said to where not."""

from __future__ import annotations

import numpy as np
import pytest
from rings_intensity_long_run import (
    DEALT,
    FEWER,
    dealt_otherwise_error,
    interaction_error,
    overall_and_trend,
    repeat_rates,
)
from rings_intensity_long_run import WORLDS as OVER_INTENSITIES
from rings_long_run import STUDIES, WORLDS, rings_rates

FEWER_SE = np.sqrt(0.05 * 0.95 / FEWER)
UNEQUAL = "riders differ on one ring alone"
SE = np.sqrt(0.05 * 0.95 / STUDIES)


@pytest.mark.long
@pytest.mark.parametrize("riders", [6, 8, 12, 20])
@pytest.mark.parametrize("world", [name for name in WORLDS if name != UNEQUAL])
def test_false_findings_and_coverage_are_those_promised(riders, world):
    rates = rings_rates(riders, world)
    assert abs(rates.found_any - 0.05) < 4 * SE
    assert abs(rates.coverage - 0.95) < 4 * SE


@pytest.mark.long
def test_one_ring_answered_unequally_costs_a_little_of_the_promise():
    # One error for all rings is too narrow for the ring that riders answer unequally, too wide for the others
    rates = rings_rates(20, UNEQUAL)
    assert 0.05 + 2 * SE < rates.found_any < 0.08


@pytest.mark.long
@pytest.mark.parametrize("riders", [6, 8, 12, 20])
@pytest.mark.parametrize("world", OVER_INTENSITIES)
def test_overall_trend_and_ring_by_intensity_keep_their_promise(riders, world):
    for rates in overall_and_trend(riders, world).values():
        assert abs(rates.found_any - 0.05) < 4 * SE
        assert abs(rates.coverage - 0.95) < 4 * SE
    assert abs(interaction_error(riders, world) - 0.05) < 4 * FEWER_SE


@pytest.mark.long
@pytest.mark.parametrize("riders", [6, 8, 12, 20])
@pytest.mark.parametrize("world", OVER_INTENSITIES)
def test_rings_ridden_repeatedly_keep_their_promise(riders, world):
    rates = repeat_rates(riders, world)
    assert abs(rates.found_any - 0.05) < 4 * SE
    assert abs(rates.coverage - 0.95) < 4 * SE


@pytest.mark.long
@pytest.mark.parametrize("riders", [6, 8, 12, 20])
def test_sequences_dealt_otherwise_keep_their_level(riders):
    assert abs(dealt_otherwise_error(riders, "riders differ") - 0.05) < 4 * np.sqrt(0.05 * 0.95 / DEALT)
