"""The answer box says no more than the page below it: what decides, what adjustment leaves, what weakens a verdict."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from fabricated import fabricate
from said_numbers import names_with_numbers, page_of, sentences_without_rows

from analysis_lib.reports.study import sister_analyses as sisters_of
from analysis_lib.reports.study import study_words, verdict_doubts
from analysis_lib.reports.study.sister_analyses import CANNOT_DECIDE, RELABELLED, sister_analyses
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.planning.frozen_protocol import PROTOCOL

ONCE = {"RO": ("round", "oval"), "OR": ("oval", "round")}
NOT_FROZEN = "No protocol was frozen before the data"


@pytest.fixture(scope="module")
def five(tmp_path_factory):
    """Five riders who rode each ring once, in two sequences: 10 ways to choose the two of one sequence."""
    return fabricate(tmp_path_factory.mktemp("five") / "study", riders=5, orders=ONCE, noise_W=0.3)


@pytest.fixture(scope="module")
def eight(tmp_path_factory):
    """Eight riders in two sequences of four: 70 ways."""
    return fabricate(tmp_path_factory.mktemp("eight") / "study", noise_W=0.3)


def sisters_and_relabelled(analysis):
    """The analyses of the primary outcome, half a watt being declared to matter, and the rows of the relabelling test."""
    small = analysis.outcomes[0].model_copy(update={"smallest_effect": 0.5})
    sisters = sister_analyses(analysis, small)
    frame = sisters.frame
    return sisters, frame[frame["analysis"] == RELABELLED].set_index("intensity")


def test_relabelling_of_five_riders_counts_neither_for_nor_against(five):
    sisters, rows = sisters_and_relabelled(five)
    # The observed allocation is one of 10, and of three riders against two none is its mirror image.
    assert rows["smallest_p"].tolist() == pytest.approx([1 / math.comb(5, 2)] * 4)
    assert list(sisters.split()) == ["difference"] and rows.loc[OVERALL, "verdict"] == CANNOT_DECIDE
    assert RELABELLED not in " ".join([*sisters.split().values(), *sisters.single_sentences()])
    assert "its p is never below 0.10" in sisters.undeciding_sentence()
    assert "analyses that can decide say difference" in sisters.agreement_sentence()
    assert "relabelling cannot decide here" in " ".join(study_words.relabelled(five, five.outcomes[0]))


def test_relabelling_of_eight_riders_is_heard(eight):
    sisters, rows = sisters_and_relabelled(eight)
    assert CANNOT_DECIDE not in set(rows["verdict"])
    assert rows["smallest_p"].tolist() == pytest.approx([2 / math.comb(8, 4)] * 4)  # and its mirror image
    assert sisters.undeciding_sentence() == "" and "that can decide" not in sisters.agreement_sentence()
    assert "cannot decide" not in " ".join(study_words.relabelled(eight, eight.outcomes[0]))


def test_an_equivalence_that_relabelling_could_have_found_and_does_not_is_heard(five):
    test = five.relabelling(five.outcomes[0])
    # With 10 allocations the 90 % interval is bounded: it could lie within ±0.001 W and does not.
    assert sisters_of._word_beside(test, "equivalent", 0.001) == "undecided"
    assert sisters_of._word_beside(test, "difference", 0.001) == CANNOT_DECIDE
    assert sisters_of._word_beside(test, "undecided", 1e6) == "equivalent"


class _Judged:
    """An effect whose p at each intensity, and whose verdicts, are given."""

    def __init__(self, effect, p):
        self.effect, self.p = effect, p

    def verdicts(self, smallest_effect):
        table = self.effect.verdicts(smallest_effect)
        return table.assign(
            verdict=[
                "difference" if self.p.get(name, 1) < 0.05 else "undecided" for name in table["intensity"]
            ]
        )

    def holm(self):
        return replace(
            self.effect,
            estimates={name: _OfP(self.p.get(name, 1.0)) for name in self.effect.estimates},
        ).holm()


class _OfP:
    def __init__(self, p):
        self.p = p


@pytest.mark.parametrize(
    ("p", "left"),
    [
        # Holm 1979: the smallest of three times 3, the next times 2, never falling.
        ((0.016, 0.046, 0.043), "a difference at Easy (RPE 11) alone is left."),
        ((0.020, 0.046, 0.043), "no difference is left."),
        ((0.001, 0.002, 0.003), "all of these differences are left."),
        ((0.001, 0.200, 0.300), "that difference is left."),
        ((0.030, 0.200, 0.300), "no difference is left."),
        ((0.001, 0.015, 0.300), "all of these differences are left."),
    ],
)
def test_the_box_says_which_differences_holm_leaves(eight, p, left):
    effect = _Judged(eight.effect(eight.outcomes[0]), dict(zip(("easy", "steady", "hard"), p, strict=True)))
    (said,) = verdict_doubts.intensity_verdicts(eight, eight.outcomes[0], effect)
    assert said.startswith("Each intensity by itself, not adjusted for looking at several: Easy (RPE 11) ")
    assert said.endswith(f" Adjusted for that (Holm), {left}")


def test_without_a_difference_there_is_nothing_to_adjust(eight):
    effect = _Judged(eight.effect(eight.outcomes[0]), {})
    (said,) = verdict_doubts.intensity_verdicts(eight, eight.outcomes[0], effect)
    assert "Holm" not in said


def test_the_box_names_analyses_that_say_otherwise(eight):
    outcome = eight.outcomes[0]
    sisters = sister_analyses(eight, outcome)
    frame = sisters.frame.assign(verdict="difference")
    torn = frame["analysis"].eq("mixed model") & frame["intensity"].isin([OVERALL, "hard"])
    split = replace(eight)
    split.__dict__["_once"] = {
        ("sister_analyses", (outcome,), ()): replace(
            sisters, frame=frame.assign(verdict=frame["verdict"].mask(torn, "undecided"))
        )
    }
    assert verdict_doubts.hanging_sentences(split, outcome) == [
        "The verdict hangs on the analysis: undecided by “mixed model”.",
        "At Hard (RPE 16) the verdict hangs on the analysis too.",
    ]
    split.__dict__["_once"] = {("sister_analyses", (outcome,), ()): replace(sisters, frame=frame)}
    assert verdict_doubts.hanging_sentences(split, outcome) == []


def test_a_study_without_a_protocol_says_so_in_the_box_and_among_the_doubts(five):
    for said in (study_words.answer(five), study_words.doubts(five)):
        assert [line for line in said if line.startswith(NOT_FROZEN)]


def test_a_protocol_frozen_before_the_data_is_no_doubt_and_a_late_one_is(five):
    folder = five.study.root / "plan"
    folder.mkdir()
    plan = {"exclusions": [], "washout_hours": 1.0}
    sums = {"allocation_open.csv": "0", "schedule_open.csv": "0"}
    frozen = {"promised": {"plan": plan}, "sha256": sums, "trials_listed_when_frozen": 0}
    (folder / PROTOCOL).write_text(json.dumps(frozen), encoding="utf-8")
    assert verdict_doubts.protocol_sentences(five.study) == []
    late = {**frozen, "trials_listed_when_frozen": 7}
    (folder / PROTOCOL).write_text(json.dumps(late), encoding="utf-8")
    (said,) = verdict_doubts.protocol_sentences(five.study)
    assert said.startswith("The protocol was frozen when 7 trials were listed already")
    (folder / PROTOCOL).write_text("{", encoding="utf-8")
    assert verdict_doubts.protocol_sentences(five.study)[0].startswith("The frozen protocol cannot be read")
    (folder / PROTOCOL).unlink()
    folder.rmdir()


def test_every_number_of_what_cannot_decide_has_its_row(five, monkeypatch):
    text = page_of("04_study_report.ipynb", monkeypatch, analysis=five)
    assert "Relabelling cannot decide here" in text
    left = sentences_without_rows(text, names_with_numbers(five.study.root))
    assert [line for line in left if "elabelling" in line or "by itself" in line or "frozen" in line] == []
