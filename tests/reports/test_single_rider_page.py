"""The page of a study of one rider: numbers from the library, checked against SciPy's permutation test."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
from captions import captions_of, long_captions
from said_numbers import links_of, names_with_numbers, page_of, sentences_without_rows
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.single_rider import single_rider_exhibits, single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import analyse_single_rider
from analysis_lib.reports.single_rider.single_rider_results import write_results
from analysis_lib.reports.study import study_exhibits
from analysis_lib.reports.study.page_list import planned_pages
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_rider_study, small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

ONE = DEMO_INTENSITIES[:1]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("alone") / "study"
    small_rider_study(folder)
    return folder


@pytest.fixture(scope="module")
def analysis(folder):
    return analyse_single_rider(str(folder))


@pytest.mark.parametrize("intensity", ["easy", "hard"])
def test_effect_and_p_are_those_of_scipy_s_paired_permutation_test(analysis, intensity):
    """Pairs drawn by lot: flipping a pair flips the sign of its difference (scipy.stats.permutation_test, "samples")."""
    periods = analysis.periods(analysis.outcomes[0])
    wide = periods[periods["intensity"] == intensity].assign(pair=lambda rows: (rows["period"] - 1) // 2)
    wide = wide.pivot_table(index="pair", columns="ring", values="value")
    pairs = (wide["oval"] - wide["round"]).to_numpy()
    reference = stats.permutation_test((pairs,), np.mean, permutation_type="samples", n_resamples=np.inf)
    test = analysis.effects(analysis.outcomes[0])[intensity].test
    assert test.estimate == pytest.approx(reference.statistic, rel=1e-9)
    assert test.p == pytest.approx(reference.pvalue, rel=1e-9)
    assert test.smallest_p == pytest.approx(2 / 2**6)


def test_a_large_known_effect_is_found_and_none_is_not(tmp_path):
    small_rider_study(tmp_path / "large", comfort_effect=-60.0)
    analysis = analyse_single_rider(str(tmp_path / "large"))
    comfort = next(outcome for outcome in analysis.outcomes if outcome.name == "comfort")
    effect = analysis.effects(comfort)[OVERALL]
    assert effect.test.verdict(comfort.smallest_effect) == "difference"
    assert effect.test.p == pytest.approx(2 / 2**6)
    assert -90 < effect.test.estimate < -30


def test_numbers_of_the_page_link_to_their_rows_or_are_known_to_have_none(analysis, folder, monkeypatch):
    text = page_of("10_single_rider.ipynb", monkeypatch, analysis=analysis)
    assert sentences_without_rows(text, names_with_numbers(folder)) == []
    assert len(links_of(text)) > 20
    assert all(f'id="{row}"' in text for row in links_of(text))


def test_the_noise_of_turns_is_that_of_means_of_independent_trials(analysis):
    rows = analysis.periods(analysis.outcomes[0])
    easy = rows[rows["intensity"] == "easy"]
    by_hand = np.sqrt(sum((part["se"] ** 2).sum() / len(part) ** 2 for _, part in easy.groupby("ring")))
    found = analysis.turn_noise(analysis.outcomes[0]).set_index("intensity").loc["easy"]
    assert found["se_turns"] == pytest.approx(by_hand)
    groups = [part["value"] for _, part in easy.groupby("ring")]
    welch = stats.ttest_ind(*groups, equal_var=False)
    assert found["se_periods"] == pytest.approx(
        abs(groups[0].mean() - groups[1].mean()) / abs(welch.statistic)
    )
    # What turns add is independent of what periods add
    assert found["se_endless"] ** 2 == pytest.approx(found["se_periods"] ** 2 - by_hand**2)
    (said,) = single_rider_words.noise_sentences(analysis, analysis.outcomes[0])
    saved = found["se_endless"] / found["se_periods"]
    assert saved > 0.5**0.5 and re.search(r"of two, which leaves less at [^.]*Easy \(RPE 11\)", said)
    assert f"at Easy (RPE 11) {found['se_endless']:.2f} W of {found['se_periods']:.2f} W" in said


def test_the_meter_s_error_is_held_against_the_intervals_of_the_one_rider(analysis):
    rows = single_rider_exhibits.effects_frame(analysis, analysis.outcomes[0]).set_index("intensity")
    errors = analysis.meter_gaps().query("sectors == 1").set_index("intensity")["mean_W"]
    words = " ".join(single_rider_words.meter_sentences(analysis))
    for name, called in (("easy", "Easy (RPE 11)"), ("hard", "Hard (RPE 16)"), (OVERALL, OVERALL)):
        where = "inside" if rows.loc[name, "low"] <= errors[name] <= rows.loc[name, "high"] else "outside"
        shown = re.escape(f"{called} ({errors[name]:+.2f} W)".replace("-", "−"))
        assert re.search(rf"at [^:]*{shown}[^:]* the error lies {where}", words)
    assert "of rider R01 (rigid" in words and "mean over" not in words and "ranging" not in words
    assert list(study_exhibits.meter_table(analysis).frame) == ["intensity", "sectors", "mean_W"]


def test_one_riders_quality_strip_has_a_row_an_intensity_and_a_column_a_period(analysis):
    (axes,) = study_exhibits.quality_strip_exhibit(analysis).figure.axes
    assert [label.get_text() for label in axes.get_yticklabels()] == ["Easy (RPE 11)", "Hard (RPE 16)"]
    assert [label.get_text() for label in axes.get_xticklabels()] == [f"P{period}" for period in range(1, 13)]


def test_the_answer_speaks_of_one_rider_and_gives_an_interval(analysis):
    words = " ".join(single_rider_words.answer(analysis))
    assert re.search(
        r"rider R01, [^.:]*: [+−][\d.]+ W \(95 % interval [^)]*; 12 periods\)\. Verdict: ", words
    )
    verdict = analysis.effects(analysis.outcomes[0])[OVERALL].test.verdict(
        analysis.outcomes[0].smallest_effect
    )
    tested = {"difference": "differs from zero", "undecided": "Neither zero"}
    assert verdict not in tested or f"{tested[verdict]} (p against zero = " in words
    assert "says nothing about others" in words


def test_too_few_periods_and_an_undeclared_lot_are_said(tmp_path):
    short = ("round", "oval", "oval", "round")
    small_rider_study(tmp_path / "short", 3.0, sequences={"four": short}, intensities=ONE)
    few = analyse_single_rider(str(tmp_path / "short"))
    assert "at least 6" in " ".join(single_rider_words.answer(few))
    small_rider_study(tmp_path / "silent", 3.0, lot=None, intensities=ONE)
    silent = analyse_single_rider(str(tmp_path / "silent"))
    assert "design.lot" in " ".join(single_rider_words.answer(silent))
    with pytest.raises(Refusal, match=r"design\.lot"):
        single_rider_exhibits.effects_frame(silent, silent.outcomes[0])
    assert any("design.lot" in str(problem) for problem in open_study(tmp_path / "silent").problems)


def test_one_intensity_is_called_by_its_label_and_not_a_mean(tmp_path):
    small_rider_study(tmp_path / "one", 3.0, intensities=ONE)
    analysis = analyse_single_rider(str(tmp_path / "one"))
    words = " ".join(single_rider_words.answer(analysis))
    assert "oval − round, Easy (RPE 11):" in words
    assert "mean over" not in words and "Each intensity by itself" not in words
    assert "intensities: Easy (RPE 11);" in single_rider_words.methods(analysis)[0]


def test_an_intensity_without_values_is_said_and_a_constant_outcome_is_refused(tmp_path):
    small_rider_study(tmp_path / "gaps", 3.0)
    file = tmp_path / "gaps" / "trials.csv"
    trials = pd.read_csv(file, dtype=str, keep_default_na=False)
    easy = trials["intensity"] == "easy"
    trials.assign(hr_bpm=trials["hr_bpm"].where(easy, ""), comfort="70").to_csv(file, index=False)
    analysis = analyse_single_rider(str(tmp_path / "gaps"))
    outcomes = {outcome.name: outcome for outcome in analysis.outcomes}
    said = single_rider_words.effect_sentences(analysis, outcomes["hr_bpm"])[0]
    assert "Easy (RPE 11) alone (no value at Hard (RPE 16)):" in said
    with pytest.raises(Refusal, match="70 in every period"):
        single_rider_words.effect_sentences(analysis, outcomes["comfort"])


def test_fewer_schedules_than_an_interval_needs_are_said_with_the_floor(tmp_path):
    six = ("round", "oval", "oval", "round", "round", "oval")
    small_rider_study(tmp_path / "six", 3.0, sequences={"six": six}, intensities=ONE)
    analysis = analyse_single_rider(str(tmp_path / "six"))
    words = " ".join(single_rider_words.effect_sentences(analysis, analysis.outcomes[0]))
    assert "no interval" in words and "below 0.25" in words  # 2 of 2³ schedules
    assert single_rider_exhibits.effects_frame(analysis, analysis.outcomes[0])["low"].isna().all()


def test_a_group_is_sent_to_its_own_page(tmp_path):
    small_study(tmp_path / "group", riders=2, duration_s=6.0)
    with pytest.raises(Refusal, match="04_study_report"):
        analyse_single_rider(str(tmp_path / "group"))


def test_results_are_written_for_other_programs(analysis, tmp_path):
    write_results(analysis, str(tmp_path))
    results = json.loads((tmp_path / "results.json").read_text())
    rows = results["outcomes"][0]["estimates"]
    assert [row["intensity"] for row in rows] == ["easy", "hard", OVERALL]
    assert rows[0]["estimate"] == pytest.approx(analysis.effects(analysis.outcomes[0])["easy"].test.estimate)


@pytest.mark.long
def test_the_report_of_one_rider_is_made_whole(folder, tmp_path):
    assert planned_pages(open_study(folder))[-1].template == "10_single_rider.ipynb"
    report = make_report(folder, tmp_path / "report", say=lambda line: None)
    assert report.exit_code == 0
    page = (tmp_path / "report" / "study.html").read_text(encoding="utf-8")
    assert "Would another order of rings" in page
    assert len(captions_of(page)) > 10 and long_captions(page) == []
