"""Several studies: a report each, a first page over all, and a bad one that does not stop the others."""

import json
import re
import shutil
from dataclasses import replace
from html import unescape

import pytest

from analysis_lib.__main__ import main
from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_records import WAITING
from analysis_lib.reports.pages import pages
from analysis_lib.reports.running import many_studies
from analysis_lib.reports.running.many_studies import MARK, Reports, StudyState, report_studies
from analysis_lib.reports.running.page_making import PageState
from analysis_lib.reports.running.runner import Report
from analysis_lib.study.declared.study_heading import SIMULATED


def test_a_bad_study_does_not_stop_the_others_and_the_first_page_says_why(one_trial_report, tmp_path, capsys):
    good, bad, out = tmp_path / "good", tmp_path / "bad <b>", tmp_path / "out"
    shutil.copytree(one_trial_report.study, good)
    bad.mkdir()
    shutil.copytree(one_trial_report.folder, out / "good")
    assert main(["report", str(bad), str(good), "--out", str(out)]) == 1
    page = (out / "index.html").read_text()
    assert '<a href="good/index.html">good</a></th><td>all pages made</td>' in page
    assert re.search(r"bad &lt;b&gt;</th><td>no report: .*study\.toml", page)
    assert (out / MARK).read_text() == "bad <b>\ngood\n"
    answer = json.loads((out / "good" / "results.json").read_text())["answer"]
    assert all(sentence in unescape(page) for sentence in (SIMULATED, *answer))
    assert "unchanged 3" in capsys.readouterr().out


def _state(tmp_path, name, cause="", problems=()):
    return StudyState(name, Report(tmp_path, (PageState("R01", "Rider R01", "", "", cause),), problems))


@pytest.mark.parametrize(
    ("causes", "code"), [(["", ""], 0), (["", "lost"], 1), ([None, ""], 1), ([None, None], 2)]
)
def test_the_exit_code_is_0_for_all_made_2_for_none_and_1_between(tmp_path, causes, code):
    states = [
        StudyState(f"S{i}", None, "no study.toml") if cause is None else _state(tmp_path, f"S{i}", cause)
        for i, cause in enumerate(causes)
    ]
    assert Reports(tmp_path, tuple(states)).exit_code == code


def test_what_a_study_lost_is_said(tmp_path):
    assert _state(tmp_path, "S", "lost").words == "failed: Rider R01"
    waiting = _state(tmp_path, "S", WAITING)
    assert waiting.words == "all pages made; 1 page waiting for trials" and waiting.report.exit_code == 0
    state = _state(tmp_path, "S", "", ("row 3",))
    assert state.words == "faults that kept cells, rows or recordings out: 1"
    lost = replace(state, report=replace(state.report, faults=("T1.csv – got an empty file", "T2.csv")))
    assert lost.words == "faults that kept cells, rows or recordings out: 3"


def test_studies_of_one_name_and_first_pages_of_others_are_refused_before_any_run(tmp_path, monkeypatch):
    monkeypatch.setattr(many_studies, "make_report", lambda *_, **__: pytest.fail("a report was begun"))
    with pytest.raises(Refusal, match="one name"):
        report_studies([tmp_path / "a" / "s", tmp_path / "b" / "s"], tmp_path / "out")
    with pytest.raises(Refusal, match="inside the study"):
        report_studies([tmp_path / "a", tmp_path / "b"], tmp_path / "a" / "out")
    (tmp_path / "index.html").write_text("mine")
    with pytest.raises(Refusal, match="something else"):
        report_studies([tmp_path / "a", tmp_path / "b"], tmp_path)
    assert (tmp_path / "index.html").read_text() == "mine"


def test_what_holds_for_all_studies_is_said_once(tmp_path, monkeypatch):
    def refuse(folder, out, fresh, say, way):
        say("no printer here")
        say("this study's own words")
        raise Refusal(folder.name, "nothing", "something", "mend it")

    for place in (many_studies, pages):
        monkeypatch.setattr(place, "why_no_pdf", lambda: "no printer here")
    monkeypatch.setattr(many_studies, "make_report", refuse)
    said = []
    report_studies([tmp_path / "a", tmp_path / "b"], tmp_path / "out", say=said.append)
    assert said.count("no printer here") == 1
    assert said.count("this study's own words") == 2


def test_one_rider_of_several_studies_is_refused(tmp_path, capsys):
    assert main(["report", str(tmp_path / "a"), str(tmp_path / "b"), "--rider", "R01"]) == 2
    assert "--rider" in capsys.readouterr().err
