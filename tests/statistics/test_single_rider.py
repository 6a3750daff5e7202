"""One rider, many periods: against a reference library, by hand, and on average."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.single_rider import single_rider_effect


def ride(rings, values, rider="A"):
    names = {"R": "round", "O": "oval"}
    return pd.DataFrame(
        {
            "rider": rider,
            "sequence": rings,
            "period": range(1, len(rings) + 1),
            "ring": [names[letter] for letter in rings],
            "intensity": "one",
            "y": np.array(values, dtype=float),
        }
    )


def test_pairs_are_the_sign_flip_test_of_pair_differences():
    rng = np.random.default_rng(1)
    values = rng.normal(size=12)
    rings = "ROORROROORRO"
    differences = [(values[k] - values[k + 1]) * (1 if rings[k] == "O" else -1) for k in range(0, 12, 2)]
    expected = stats.permutation_test(
        (differences,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative="two-sided"
    )
    found = single_rider_effect(ride(rings, values), "y", "pairs").test
    assert found.estimate == pytest.approx(np.mean(differences))
    assert found.p == pytest.approx(expected.pvalue)
    assert found.relabellings == 64


def test_free_schedules_are_the_permutation_test_of_two_groups():
    rng = np.random.default_rng(2)
    values, rings = rng.normal(size=9), "ROOOROROO"
    oval = np.array([letter == "O" for letter in rings])
    expected = stats.permutation_test(
        (values[oval], values[~oval]), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf
    )
    found = single_rider_effect(ride(rings, values), "y", "free").test
    assert found.relabellings == 84
    # scipy doubles the smaller tail; both tails counted, as here
    assert found.p == np.mean(np.abs(expected.null_distribution) >= abs(expected.statistic) - 1e-12)


def test_floor_and_interval_of_four_pairs():
    values = [10, 13, 14, 10.5, 10, 13.5, 14.5, 10]
    found = single_rider_effect(ride("ROORROOR", values), "y", "pairs").test
    # All four pair differences are positive (3, 3.5, 3.5, 4.5): the observed and its mirror image of 16
    assert found.p == found.smallest_p == 2 / 16
    assert "smallest possible p 0.12" in found.sentence()
    assert np.isinf(found.interval(0.95).high)
    # The real schedule and its mirror image reach every δ. With one pair turned the crossing is that pair's own
    # difference, (sum/4 − (sum − 2 d)/4)/(1 − 2/4) = d, twice for the mirror image; three of 16 may be passed
    assert found.interval(0.80).low == pytest.approx(3.0)


def test_bootstrap_follows_its_seed_and_its_standard_error():
    rng = np.random.default_rng(3)
    table = ride(
        "ROORROROORRO" * 3, rng.normal(size=36) + 2 * np.array([c == "O" for c in "ROORROROORRO" * 3])
    )
    found = single_rider_effect(table, "y", "free", draws=8000)
    again = single_rider_effect(table, "y", "free", draws=8000)
    np.testing.assert_array_equal(found.draws, again.draws)
    assert found.draws.mean() == pytest.approx(found.test.estimate, abs=0.05)
    # Independent noise of variance 1 in 18 + 18 periods: standard error 1/3
    assert found.draws.std() == pytest.approx(1 / 3, rel=0.25)
    assert found.block_length == 4
    assert found.bootstrap_interval(0.90).low < found.test.estimate < found.bootstrap_interval(0.90).high


def test_test_keeps_its_level_under_drift():
    # A strong trend over the periods: lots drawn in pairs still give 5 % at most
    rng = np.random.default_rng(4)
    p = []
    for _ in range(120):
        rings = "".join(rng.choice(["RO", "OR"]) for _ in range(6))
        p.append(
            single_rider_effect(
                ride(rings, np.arange(12) + rng.normal(size=12)), "y", "pairs", draws=2
            ).test.p
        )
    assert np.mean(np.array(p) <= 0.0625) <= 0.0625 + 4 * np.sqrt(0.0625 * 0.94 / 120)


def test_many_pairs_are_sampled():
    rng = np.random.default_rng(5)
    rings = "RO" * 20
    found = single_rider_effect(ride(rings, rng.normal(size=40)), "y", "pairs", draws=2).test
    assert not found.exact and found.relabellings == 9999
    assert single_rider_effect(ride(rings, rng.normal(size=40)), "y", "free", draws=2).test.exact is False


@pytest.mark.parametrize(
    ("rings", "values", "schedule", "what"),
    [
        ("ROROR", [1, 2, 3, 4, 5], "free", "5 with a value"),
        ("RORORO", [1, 2, 3, np.nan, 5, np.nan], "free", "4 with a value, 1 on the rarer ring"),
        ("RROORO", [1, 2, 3, 4, 5, 6], "pairs", "one oval and one round period in every successive pair"),
        ("RORORO", [1, 2, 3, 4, 5, 6], "blocks", "schedule"),
    ],
)
def test_refusals(rings, values, schedule, what):
    with pytest.raises(Refusal, match=what):
        single_rider_effect(ride(rings, values), "y", schedule)


def test_a_group_is_refused():
    table = pd.concat([ride("RORORO", range(6)), ride("RORORO", range(6), "B")])
    with pytest.raises(Refusal, match="riders – got 2"):
        single_rider_effect(table, "y", "pairs")


def test_a_pair_that_lost_a_period_leaves_and_no_new_pair_is_made_of_the_rest():
    """Periods 2 and 3 lost: 1 and 4 were never turned by one lot, so five whole pairs and 2**5 schedules remain."""
    rings = ["round", "oval"] * 7
    values = [10.0, 12.0, 9.0, 13.0, 11.0, 12.0, 10.0, 14.0, 8.0, 12.0, 10.0, 13.0, 11.0, 12.0]
    table = pd.DataFrame(
        {
            "rider": "R01",
            "sequence": "drawn",
            "visit": 1,
            "period": range(1, 15),
            "ring": rings,
            "intensity": "easy",
        }
    ).assign(power=values)
    table.loc[table["period"].isin([2, 3]), "power"] = float("nan")
    effect = single_rider_effect(table, "power", "pairs")
    assert (len(effect.test.effects), effect.periods_round, effect.periods_oval) == (32, 5, 5)
    assert effect.test.estimate == pytest.approx((1 + 4 + 4 + 3 + 1) / 5)
