"""What a rider's page says first: differences held against the same ring's own spread, and words explained."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pandas as pd
import pytest
from edits import edit_table

from analysis_lib.reports.exhibits.glossary import MEANINGS, OF_A_RIDER, OF_A_STUDY, explain
from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.protocol import Rules
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.mark.parametrize(
    ("differences", "oval_ranges", "said"),
    [
        ([1.0, -2.0], [2.0, 3.0], "None of these differences is larger than the spread"),
        ([1.0, -4.0], [2.0, 3.0], "At hard the difference is larger than the spread"),
        (
            [1.0, -4.0],
            [2.0, math.nan],
            "At hard one of the rings has no more than one period that counts, so a difference of rings cannot",
        ),
        ([1.0, -4.0], [2.0, math.nan], "Elsewhere the difference is no larger"),
        ([3.0, -4.0], [2.0, math.nan], "At easy the difference is larger"),
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


def test_of_two_trials_of_one_cell_neither_counts_and_the_answer_says_so(tmp_path):
    study = tmp_path / "study"
    small_study(study, riders=1, duration_s=4.0)
    again = {"trial": "again", "file": "recordings/again.parquet"}
    edit_table(
        study,
        "trials.csv",
        lambda frame: pd.concat([frame, frame[frame["trial"] == "R01-P1-easy"].assign(**again)]),
    )
    pd.read_parquet(study / "recordings/R01-P1-easy.parquet").iloc[1:].to_parquet(study / again["file"])
    analysis = analyse_rider(open_study(study), "R01")
    frame = rider_words.rider_contrasts(analysis)
    easy = frame[frame["intensity"] == "easy"]
    assert set(easy["periods"]) == {"1 + 2"}  # heart rate, exertion and comfort of trials.csv too
    first, *_ = rider_words.answer(analysis)
    assert "At Easy (RPE 11) one of the rings has no more than one period that counts" in first
    assert [line for line in rider_words.trust(analysis) if line.startswith("Not used – again: ")]


def test_that_nothing_was_assumed_is_said_of_the_recordings_alone():
    """The mechanics of the same page assume an inertia, and say so under their own heading."""
    sound = SimpleNamespace(
        assumptions=[], trials=pd.DataFrame(columns=["trial", "state", "reason"]), results={}
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rider_words, "caution_sentences", lambda analysis: [])
        (said,) = rider_words.trust(sound)
    assert "nothing had to be assumed to read the recordings" in said and "stands there" in said


@pytest.mark.parametrize(
    ("model", "said", "unsaid"),
    [("line", "linear in time", "temperature"), ("temperature", "on temperature and time", "linear in time")],
)
def test_methods_name_the_zero_that_trials_lost(model, said, unsaid):
    settings = SimpleNamespace(rules=Rules(zero_model=model))
    first, *_ = rider_words.methods(SimpleNamespace(study=SimpleNamespace(settings=settings)))
    assert said in first and unsaid not in first


def test_every_word_of_a_page_has_one_meaning():
    assert set(OF_A_RIDER) | set(OF_A_STUDY) == set(MEANINGS)
    assert explain(OF_A_STUDY).frame["word"].is_unique
