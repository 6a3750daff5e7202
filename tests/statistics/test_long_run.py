"""In the long run: how often is zero rejected without an effect, and how often does an interval hold the truth?

Seeded simulations, minutes long; run with -m long. The bands are four standard errors of the simulation wide.
"""

from __future__ import annotations

import numpy as np
import pytest
from long_run_rates import RIDERS, axial_coverage, curve_rates, relabelling_rates, ring_effect_rates

pytestmark = pytest.mark.long


def four_errors(share, runs):
    return 4 * np.sqrt(share * (1 - share) / runs)


@pytest.mark.parametrize("riders", RIDERS)
def test_ring_effect_keeps_its_level_and_its_coverage(riders):
    rejected, covered, runs = ring_effect_rates(riders)
    assert rejected == pytest.approx(0.05, abs=four_errors(0.05, runs))
    assert covered == pytest.approx(0.95, abs=four_errors(0.05, runs))


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
