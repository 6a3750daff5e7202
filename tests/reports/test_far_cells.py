"""An outcome's cell far from all others is told wherever that outcome is answered, and counted."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from gathering import gathered
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.reports.study import exclusion_exhibits, study_words
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES


@pytest.fixture(scope="module")
def slipped(tmp_path_factory):
    """Four riders, one of whom gave 1100 for 11."""
    folder = tmp_path_factory.mktemp("slipped") / "study"
    small_study(folder, riders=4, duration_s=4.0, rules={"min_turns": 3}, intensities=DEMO_INTENSITIES[:2])
    trials = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    trials.loc[2, "rpe"] = "1100"
    trials.to_csv(folder / "trials.csv", index=False)
    return folder, str(trials.loc[2, "trial"]), gathered(folder)[1]


def test_the_cell_stands_beside_its_outcome_and_among_the_doubts(slipped):
    _, trial, analysis = slipped
    rpe = next(outcome for outcome in analysis.outcomes if outcome.name == "rpe")
    said = f"{rpe.label} of {trial} lies far from all others at the same intensity"
    for words in (
        study_words.effect_sentences(analysis, rpe, analysis.effect(rpe)),
        study_words.doubts(analysis),
        exclusion_exhibits.state_sentences(analysis),
    ):
        assert sum(line.startswith(said) for line in words) == 1
    assert not [line for line in study_words.answer(analysis) if line.startswith(said)]  # of another outcome
    assert 1100 in set(analysis.values_of("rpe")["value"])


def test_an_outcome_that_is_primary_has_it_in_the_answer(slipped):
    _, _, analysis = slipped
    changed = [
        part.model_copy(update={"primary": part.name == "rpe"}) for part in analysis.study.settings.outcomes
    ]
    settings = analysis.study.settings.model_copy(update={"outcomes": changed})
    other = StudyAnalysis(replace(analysis.study, settings=settings), analysis.tables, {})
    assert [line for line in study_words.answer(other) if "lies far from all others" in line]


def test_the_words_hold_no_number_without_a_row(slipped, monkeypatch):
    folder, _, analysis = slipped
    text = page_of("04_study_report.ipynb", monkeypatch, analysis=analysis)
    left = sentences_without_rows(text, names_with_numbers(folder))
    assert "lies far from all others" in text
    assert [line for line in left if "far from all others" in line] == []
