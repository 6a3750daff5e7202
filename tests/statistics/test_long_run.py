"""In the long run: how often is zero rejected without an effect, and how often does an interval hold the truth?

Seeded simulations, minutes long; run with -m long. The bands are four standard errors of the simulation wide.
"""

from __future__ import annotations

import numpy as np
import pytest
from long_run_rates import (
    CONTRAST_WORLDS,
    RIDERS,
    adjusted_curve_rates,
    axial_coverage,
    contrast_rates,
    curve_rates,
    random_field_rates,
    relabelling_rates,
    repeat_coverage,
    ring_effect_rates,
)

pytestmark = pytest.mark.long


def four_errors(share, runs):
    return 4 * np.sqrt(share * (1 - share) / runs)


@pytest.mark.parametrize("riders", RIDERS)
def test_ring_effect_keeps_its_level_and_its_coverage(riders):
    rejected, covered, runs = ring_effect_rates(riders)
    assert rejected == pytest.approx(0.05, abs=four_errors(0.05, runs))
    assert covered == pytest.approx(0.95, abs=four_errors(0.05, runs))


@pytest.mark.parametrize("riders", RIDERS)
@pytest.mark.parametrize("world", CONTRAST_WORLDS)
def test_ring_effect_keeps_its_level_in_other_worlds(riders, world):
    rejected, covered, runs = contrast_rates(riders, world)
    if (
        world == "trials missing"
    ):  # riders' contrasts differ in precision, and period effects no longer cancel
        assert 0.03 < rejected < 0.07
    elif world == "riders scatter unlike":  # long tails make t careful, never bold
        assert 0.035 < rejected < 0.05 + four_errors(0.05, runs)
    else:
        assert rejected == pytest.approx(0.05, abs=four_errors(0.05, runs))
    assert covered == pytest.approx(1 - rejected, abs=0.005)


@pytest.mark.parametrize("riders", RIDERS)
def test_adjusted_curves_keep_their_level_under_a_period_effect(riders):
    (rejected, covered, runs), plain = adjusted_curve_rates(riders)
    # Flipped signs up to 5 + 5 riders are nearly exact, relabelled sequences beyond exact
    assert rejected <= 0.062 + four_errors(0.062, runs)
    assert covered >= 0.938 - four_errors(0.062, runs)
    assert plain < 0.01


@pytest.mark.parametrize("riders", RIDERS)
def test_random_field_threshold_keeps_its_level_roughly(riders):
    # It is derived for high thresholds, so it is careful where six or eight riders make them low; a second reading
    assert 0.02 < random_field_rates(riders).rejected < 0.075


@pytest.mark.parametrize("riders", RIDERS)
def test_intervals_of_repeatability_keep_their_coverage(riders):
    held = repeat_coverage(riders)
    for name in ("typical error", "ICC(3,1)", "bias of agreement"):  # exact
        assert held[name] == pytest.approx(0.95, abs=four_errors(0.05, 500))
    # The published interval of a limit is symmetric though the spread of few riders is not: too short outward
    assert held["limit of agreement"] >= 0.86
    assert held["limit of agreement, skewed"] == pytest.approx(0.95, abs=0.04)


@pytest.mark.parametrize("riders", RIDERS)
def test_relabelling_keeps_its_level_and_its_coverage(riders):
    rejected, covered, runs = relabelling_rates(riders)
    # A permutation test never exceeds its level and loses no more than one step of its floor
    floor = {6: 2 / 20, 8: 2 / 70, 12: 2 / 924, 20: 1 / 10000}[riders]
    assert rejected <= 0.10 + four_errors(0.10, runs)
    assert rejected >= 0.10 - floor - four_errors(0.10, runs)
    assert covered >= 0.90 - four_errors(0.10, runs)


@pytest.mark.parametrize("riders", RIDERS)
def test_paired_curves_keep_their_level_and_their_coverage(riders):
    (rejected, covered, runs), pointwise = curve_rates(riders)
    step = 2 / 2**riders if riders <= 14 else 1e-4
    assert 0.05 - step - four_errors(0.05, runs) <= rejected <= 0.05 + four_errors(0.05, runs)
    assert covered >= 0.95 - four_errors(0.05, runs)
    # The usual two standard errors hold at every angle in about half the studies
    assert pointwise < 0.65


@pytest.mark.parametrize("riders", RIDERS)
@pytest.mark.parametrize("concentration", [2, 4, 10, 50])
def test_axial_interval_keeps_its_coverage(riders, concentration):
    covered = axial_coverage(riders, concentration)
    assert covered >= 0.95 - four_errors(0.05, 3000)
    assert covered <= 0.985
