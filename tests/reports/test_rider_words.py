"""What a rider's page says first: differences held against the same ring's own spread, and words explained."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from analysis_lib.reports import rider_words
from analysis_lib.reports.glossary import MEANINGS, OF_A_RIDER, OF_A_STUDY, explain


@pytest.mark.parametrize(
    ("differences", "oval_ranges", "said"),
    [
        ([1.0, -2.0], [2.0, 3.0], "None is larger than the spread"),
        ([1.0, -4.0], [2.0, 3.0], "At hard it is larger than the spread"),
        (
            [1.0, -4.0],
            [2.0, math.nan],
            "At hard a ring was ridden once, and a difference cannot be told from that of two",
        ),
        ([1.0, -4.0], [2.0, math.nan], "None of the others is larger"),
        ([3.0, -4.0], [2.0, math.nan], "At easy it is larger"),
    ],
)
def test_differences_are_held_against_the_spread_of_one_ring(differences, oval_ranges, said):
    rows = pd.DataFrame(
        {
            "intensity": ["easy", "hard"],
            "difference": differences,
            "range_round": 0.5,
            "range_oval": oval_ranges,
        }
    )
    assert said in rider_words._against_repeats(rows)


def test_a_rider_who_rode_each_ring_once_is_told_nothing_of_spread():
    rows = pd.DataFrame(
        {"intensity": ["hard"], "difference": [5.0], "range_round": math.nan, "range_oval": 1.0}
    )
    assert "larger" not in rider_words._against_repeats(rows)


def test_every_word_of_a_page_has_one_meaning():
    assert set(OF_A_RIDER) | set(OF_A_STUDY) == set(MEANINGS)
    assert explain(OF_A_STUDY).frame["word"].is_unique
