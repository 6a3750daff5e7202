"""Adjusted p values against a published family of fifteen."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.multiplicity import METHODS, adjust_p

# Benjamini & Hochberg, J R Stat Soc B 1995;57:289, section 4: fifteen p values of a trial of thrombolysis.
# At 0.05 the paper rejects four by its own procedure, three by Bonferroni's and by Hochberg's.
FIFTEEN = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
]  # fmt: skip


@pytest.mark.parametrize(
    ("method", "rejected"), [("benjamini-hochberg", 4), ("bonferroni", 3), ("hochberg", 3), ("holm", 3)]
)
def test_number_rejected_in_the_published_family(method, rejected):
    assert np.sum(adjust_p(FIFTEEN, method) <= 0.05) == rejected


def test_first_adjusted_values_by_hand():
    # Holm: 15 p, 14 p, 13 p, 12 p, 11 p; Benjamini-Hochberg: 15 p / rank
    np.testing.assert_allclose(
        adjust_p(FIFTEEN, "holm")[:5], [0.0015, 0.0056, 0.0247, 0.1140, 0.2211], atol=1e-12
    )
    np.testing.assert_allclose(
        adjust_p(FIFTEEN, "benjamini-hochberg")[:5], [0.0015, 0.0030, 0.0095, 0.035625, 0.0603], atol=1e-12
    )


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12), st.sampled_from(sorted(METHODS)))
def test_adjusting_never_lowers_a_p_value_nor_reorders_the_family(p_values, method):
    adjusted = adjust_p(p_values, method)
    assert np.all(adjusted >= np.asarray(p_values) - 1e-12) and np.all(adjusted <= 1)
    assert np.all(np.diff(adjusted[np.argsort(p_values)]) >= -1e-12)


def test_a_comparison_that_could_not_be_tested_still_counts_as_a_look():
    np.testing.assert_allclose(adjust_p([0.01, np.nan]), [0.02, np.nan])


@pytest.mark.parametrize(
    ("p_values", "method", "what"),
    [
        ([0.2], "scheffe", "method"),
        ([], "holm", "p values"),
        ([1.2], "holm", "p values"),
        ([-0.1], "holm", "p values"),
    ],
)
def test_refusals(p_values, method, what):
    with pytest.raises(Refusal, match=what):
        adjust_p(p_values, method)
