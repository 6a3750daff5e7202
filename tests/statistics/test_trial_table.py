"""A table of trials is checked once, before any analysis."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from worked_crossovers import FORMOTEROL_FIRST, SALBUTAMOL_FIRST, two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.trial_table import check_trials, ring_order, split_intensities, take_logs


@pytest.fixture
def table():
    return two_periods(FORMOTEROL_FIRST, SALBUTAMOL_FIRST)


def change(table, row, column, entry):
    changed = table.astype({column: object})
    changed.loc[row, column] = entry
    return changed


def test_columns_and_types_are_fixed(table):
    trials = check_trials(table.rename(columns={"y": "flow"}), "flow")
    assert list(trials.columns) == ["rider", "sequence", "period", "ring", "intensity", "value"]
    assert trials["period"].tolist()[:4] == [1, 2, 1, 2] and trials["value"].dtype == float


def test_intensities_keep_their_order_of_appearance_or_of_their_categories(table):
    both = pd.concat([table.assign(intensity="hard"), table.assign(intensity="easy")])
    assert list(check_trials(both, "y")["intensity"].cat.categories) == ["hard", "easy"]
    ordered = both.assign(
        intensity=pd.Categorical(both["intensity"], ["easy", "hard", "never"], ordered=True)
    )
    assert list(check_trials(ordered, "y")["intensity"].cat.categories) == ["easy", "hard"]


def test_periods_may_be_text_numbers_or_ordered_words(table):
    text = table.assign(period=table["period"].astype(str))
    words = table["period"].map({1: "spring", 2: "autumn"})
    ordered = table.assign(period=pd.Categorical(words, ["spring", "autumn"], ordered=True))
    for variant in (text, ordered):
        assert check_trials(variant, "y")["period"].tolist() == table["period"].tolist()
    with pytest.raises(Refusal, match="column period"):
        check_trials(table.assign(period=words), "y")


def test_labels_may_be_categories_without_trials(table):
    spare = table.copy()
    for name in ("rider", "sequence", "ring"):
        spare[name] = pd.Categorical(spare[name], [*pd.unique(spare[name]), "never"])
    pd.testing.assert_frame_equal(check_trials(spare, "y"), check_trials(table, "y"))


def test_the_table_given_is_not_changed(table):
    before = table.copy()
    check_trials(table, "y")
    pd.testing.assert_frame_equal(table, before)


def test_ring_order_and_parts(table):
    trials = check_trials(table, "y")
    assert ring_order(trials).loc["OR"].tolist() == ["oval", "round"]
    assert [name for name, _ in split_intensities(trials)] == ["one", "overall"]


def test_overall_needs_every_intensity():
    both = pd.concat([two_periods([(1, 2)], [(3, 4)], "easy"), two_periods([(5, np.nan)], [(7, 8)], "hard")])
    _, whole = split_intensities(check_trials(both, "y"))[-1]
    found = whole.set_index(["sequence", "period"])["value"]
    assert found["OR", 1] == 3 and np.isnan(found["OR", 2]) and found["RO", 2] == 6


@pytest.mark.parametrize(
    ("spoil", "what"),
    [
        (lambda t: t.drop(columns=["ring", "y"]), "no ring, y"),
        (lambda t: t.iloc[:0], "no rows"),
        (lambda t: change(t, 3, "rider", None), "row 4, column rider"),
        (lambda t: change(t, 2, "y", np.inf), "row 3, column y – got inf"),
        (lambda t: change(t, 2, "y", -np.inf), "row 3, column y – got -inf"),
        (lambda t: change(t, 2, "y", 1e200), "row 3, column y – got 1e"),
        (lambda t: t.assign(y=t["y"] + 1j), "column y – got complex numbers"),
        (lambda t: pd.concat([t, t[["y"]]], axis=1), "y twice"),
        (lambda t: change(t, 2, "y", "fast"), "row 3, column y"),
        (lambda t: change(t, 0, "ring", "square"), "'square'"),
        (lambda t: t.assign(ring="oval"), "no trial on round"),
        (lambda t: t.assign(intensity="overall"), "column intensity"),
        (lambda t: pd.concat([t, t.iloc[[0]]]), "rider OR00, period 1, intensity one"),
        (lambda t: pd.concat([t, t.iloc[[0]].assign(intensity="two", ring="round")]), "more than one ring"),
        (lambda t: change(t, 0, "sequence", "RO"), "rider OR00 – got more than one sequence"),
        (lambda t: change(t, [0, 1], "sequence", "RO"), "sequence RO, period 1"),
        (
            lambda t: t.assign(sequence=t["sequence"].map({"OR": "AB", "RO": "AA"})),
            "A for round and for oval",
        ),
        (lambda t: change(t, 0, "period", 1.5), "column period"),
    ],
)
def test_refusals(table, spoil, what):
    with pytest.raises(Refusal, match=what):
        check_trials(spoil(table), "y")


def test_labels_that_do_not_spell_the_order_are_only_labels(table):
    check_trials(table.assign(sequence=table["sequence"].map({"OR": "1", "RO": "2"})), "y")


def test_logs_need_values_above_zero(table):
    trials = check_trials(table, "y")
    np.testing.assert_allclose(np.exp(take_logs(trials, "y")["value"]), trials["value"])
    with pytest.raises(Refusal, match="row 1, column y"):
        take_logs(check_trials(change(table, 0, "y", 0), "y"), "y")
