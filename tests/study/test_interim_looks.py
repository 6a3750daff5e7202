"""Whether a study is looked at before its end: planned riders to come are, riders who stopped early are not."""

from __future__ import annotations

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.study.interim import (
    FIVE_LOOKS_PCT,
    interim_sentences,
    progress_tables,
    unfinished_sentences,
)
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.planning.frozen_protocol import freeze_protocol
from analysis_lib.study.planning.progress import progress_of
from analysis_lib.study.synthetic.synthetic import small_study

PLAN = """
[plan]
riders = 8
within_rider_sd = 4.0
within_rider_sd_source = "pilot of six riders"
dropout = 0.0
washout_hours = 0.1
allocation_seed = 20261
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("progress") / "study"
    small_study(folder, riders=4, duration_s=3.0)
    return folder


@pytest.fixture(scope="module")
def study(folder):
    """Four riders of four periods, all ridden."""
    return open_study(folder)


def with_trials(study, keep):
    return replace(study, trials=study.trials[keep(study.trials)])


def ended(study):
    heading = study.settings.study.model_copy(update={"ended": True})
    return replace(study, settings=study.settings.model_copy(update={"study": heading}))


@pytest.mark.parametrize(
    ("kept", "counts", "is_interim"),
    [
        (lambda trials: trials["period"] > 0, (4, 4, 4), False),
        # One of four stopped early: the others have come to the end
        (lambda trials: (trials["rider"] != "R02") | (trials["period"] < 3), (4, 4, 3), False),
        # Two have not begun
        (lambda trials: trials["rider"].isin(["R01", "R03"]), (4, 2, 2), True),
        # All have begun, and three of four lack the last period
        (lambda trials: (trials["rider"] == "R01") | (trials["period"] < 3), (4, 4, 1), True),
        (lambda trials: trials["period"] < 0, (4, 0, 0), False),
    ],
)
def test_riders_to_come_make_a_look_an_interim_one(study, kept, counts, is_interim):
    part = with_trials(study, kept)
    found = progress_of(part)
    assert (found.riders_planned, found.riders, found.riders_through) == counts
    assert found.is_interim is is_interim
    assert bool(interim_sentences(part)) is bool(progress_tables(part)) is is_interim
    assert not progress_of(ended(part)).is_interim


UNTOLD = "who have begun {} no trial in the last period: whether they go on or have stopped early, the tables do not tell."
HOW = "Once no more will be ridden, write ended = true under [study] in study.toml."


def test_riders_who_may_still_come_are_not_taken_for_riders_who_stopped(study):
    """One of four lacks the last period, so most have finished; then three do, which is an interim look."""
    one = with_trials(study, lambda trials: (trials["rider"] != "R02") | (trials["period"] < 3))
    assert interim_sentences(one) == []
    (said,) = unfinished_sentences(one)
    assert said.startswith("This is taken for the study's end") and said.endswith(HOW)
    assert f"1 of 4 riders {UNTOLD.format('has')}" in said
    three = with_trials(study, lambda trials: (trials["rider"] == "R01") | (trials["period"] < 3))
    assert unfinished_sentences(three) == []
    (said,) = interim_sentences(three)
    assert f"3 of 4 riders {UNTOLD.format('have')}" in said and said.endswith(HOW)
    for part in (one, three):
        assert interim_sentences(ended(part)) == unfinished_sentences(ended(part)) == []


def test_a_study_whose_riders_have_all_finished_is_told_nothing_of_this(study):
    assert interim_sentences(study) == unfinished_sentences(study) == []


def rewritten(folder, into, change):
    """A copy of a study with a changed trials.csv, as opened."""
    shutil.copytree(folder, into)
    trials = pd.read_csv(into / "trials.csv", dtype=str, keep_default_na=False)
    change(trials).to_csv(into / "trials.csv", index=False)
    return open_study(into)


def test_a_trial_with_another_cell_at_fault_is_one_that_was_ridden(folder, tmp_path):
    def spoil(trials):
        return trials.assign(start_s=trials["start_s"].mask(trials["period"] == "4", "soon"))

    found = progress_of(rewritten(folder, tmp_path / "study", spoil))
    assert (found.riders, found.riders_through, found.periods, found.is_interim) == (4, 4, 4, False)


@pytest.mark.parametrize("name", ["R33", ""])
def test_a_trial_of_a_rider_whom_nobody_lists_is_no_further_rider_s(folder, tmp_path, name):
    """R04 has not begun, and one of R03's trials stands under another name."""

    def misspell(trials):
        ridden = trials[trials["rider"] != "R04"]
        return ridden.assign(rider=ridden["rider"].mask(ridden["trial"] == "R03-P1-easy", name))

    found = progress_of(rewritten(folder, tmp_path / "study", misspell))
    assert (found.riders, found.riders_planned, found.is_interim) == (3, 4, True)


def test_the_plan_says_how_many_riders_and_the_frozen_list_before_study_toml(folder, tmp_path):
    small_study(tmp_path / "study", riders=4, duration_s=3.0)
    file = tmp_path / "study" / "study.toml"
    text = file.read_text(encoding="utf-8").split("[plan]")[0]
    file.write_text(text + PLAN, encoding="utf-8")
    assert progress_of(open_study(tmp_path / "study")).riders_planned == 8
    said = interim_sentences(open_study(tmp_path / "study"))[0]
    assert "4 of 8 planned riders so far, 4 of them with a trial in the last period" in said
    trials = file.with_name("trials.csv")
    listed = trials.read_text(encoding="utf-8")
    trials.write_text(listed.splitlines()[0] + "\n", encoding="utf-8")
    freeze_protocol(tmp_path / "study")
    trials.write_text(listed, encoding="utf-8")
    file.write_text(text + PLAN.replace("riders = 8", "riders = 4"), encoding="utf-8")
    assert progress_of(open_study(tmp_path / "study")).riders_planned == 8
    heading = "[study]\nended = true"
    file.write_text((text + PLAN).replace("[study]", heading), encoding="utf-8")
    assert interim_sentences(open_study(tmp_path / "study")) == []


def test_five_looks_find_a_difference_where_there_is_none_in_14_of_100_studies():
    rng = np.random.default_rng(1969)
    looks = np.cumsum(rng.normal(size=(100_000, 5)), axis=1) / np.sqrt(np.arange(1, 6))
    share = (np.abs(looks) > 1.96).any(axis=1).mean()
    assert round(100 * share) == FIVE_LOOKS_PCT  # standard error 0.1 %


def test_one_rider_s_periods_are_counted(study):
    riders = study.riders[study.riders["rider"] == "R01"]
    mine = (study.trials["rider"] == "R01") & (study.trials["period"] < 3)
    alone = replace(
        study,
        riders=pd.DataFrame(riders),
        trials=study.trials[mine],
        settings=study.settings.model_copy(update={"plan": None}),
    )
    assert "2 of 4 planned periods so far." in interim_sentences(alone)[0]
