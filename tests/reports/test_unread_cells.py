"""An outcome's cell of trials.csv that is at fault: its trial keeps all else, and every page says what it lacks."""

from __future__ import annotations

from dataclasses import replace

import pytest
from edits import edit_table, spoiled
from gathering import gathered

from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.running.check import check_study
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.single_rider import single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study import exclusion_exhibits, study_words
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

SAID = (
    "trials.csv is at fault in hr_bpm of R02-P1-hard: without that, this trial counts as if without Heart rate, and with"
    " all other values. Correct the cell, or empty it if nothing was measured."
)


@pytest.fixture(scope="module")
def honest(tmp_path_factory):
    folder = tmp_path_factory.mktemp("unread") / "honest"
    small_study(folder, riders=4, duration_s=4.0, rate_hz=50.0, intensities=DEMO_INTENSITIES[2:])
    return folder


@pytest.fixture(scope="module")
def spoilt(honest):
    folder = spoiled(honest, "spoilt")
    edit_table(
        folder,
        "trials.csv",
        lambda rows: rows.assign(hr_bpm=rows["hr_bpm"].mask(rows["trial"] == "R02-P1-hard", "abc")),
    )
    return folder, *gathered(folder)


def test_the_trial_keeps_its_power_and_lacks_that_outcome_alone(honest, spoilt):
    whole = gathered(honest)[1].quantities.set_index(["trial", "quantity"])["value"]
    left = spoilt[2].quantities.set_index(["trial", "quantity"])["value"]
    assert set(whole.index) - set(left.index) == {("R02-P1-hard", "hr_bpm")}
    assert left.equals(whole.drop(("R02-P1-hard", "hr_bpm")))


def test_check_still_fails_and_report_makes_its_page_with_exit_code_1(spoilt, tmp_path, capsys):
    assert check_study(spoilt[0]) == 2
    assert "column hr_bpm – got 'abc' – wanted a number" in capsys.readouterr().out
    report = make_report(spoilt[0], tmp_path / "report", only_rider="R02", say=lambda _: None)
    assert report.exit_code == 1 and not report.pages[0].failed
    assert SAID in (tmp_path / "report" / "riders" / "R02.html").read_text(encoding="utf-8")


def test_every_page_says_it_where_it_matters(spoilt):
    _, riders, analysis = spoilt
    assert SAID in rider_words.doubts(riders["R02"]) and SAID not in rider_words.doubts(riders["R01"])
    assert SAID in study_words.doubts(analysis) and SAID in exclusion_exhibits.state_sentences(analysis)
    assert "no reason to doubt" not in " ".join(study_words.doubts(analysis))
    assert SAID not in study_words.answer(analysis)  # power does not rest on it
    heart_rate = next(outcome for outcome in analysis.outcomes if outcome.name == "hr_bpm")
    power = analysis.outcomes[0]
    assert SAID in study_words.effect_sentences(analysis, heart_rate, analysis.effect(heart_rate))
    assert SAID not in study_words.effect_sentences(analysis, power, analysis.effect(power))
    alone = SingleRiderAnalysis(analysis.study, {"R02": analysis.tables["R02"]}, {}, False)
    assert SAID in single_rider_words.doubts(alone)


def test_an_excluded_trial_s_cell_takes_nothing_away(spoilt):
    study = spoilt[2].study
    excluded = study.trials.assign(exclude=study.trials["trial"] == "R02-P1-hard")
    assert unread_sentences(replace(study, trials=excluded)) == []
