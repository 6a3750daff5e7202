"""After a run of one rider's page, pages that no longer follow from the study are called out of date everywhere."""

import json
import shutil
from html import unescape

import pandas as pd
import pytest
from edits import edit_table, replace_in_settings

from analysis_lib.__main__ import main
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.reports.record.crate_reading import entities_of
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.running.out_of_date import lines_of_outdated
from analysis_lib.reports.running.page_making import PageState
from analysis_lib.reports.running.runner import _Run, make_report
from analysis_lib.reports.running.verify import verify_report
from analysis_lib.study.synthetic.synthetic import small_study

ANSWER = "The oval ring changes nothing that matters."
REMEDY = "run `roundoval report` without --rider"
FAILS = "R03"


@pytest.fixture
def made(tmp_path, monkeypatch):
    """A study of three riders and its report of stand-ins for pages: each rider's leaves a table, the study's an answer."""

    def make(run, plan):
        write_text_whole(run.out / plan.page, plan.title)
        if plan.rider:
            write_text_whole(run.out / "tables" / "riders" / plan.rider / "trials.csv", plan.rider)
        if plan.subject == "the study":
            write_text_whole(run.out / "results.json", json.dumps({"answer": [ANSWER]}))
        return PageState(
            plan.subject, plan.name, plan.page, "", "no recording" if plan.rider == FAILS else ""
        )

    monkeypatch.setattr(_Run, "_make", make)
    monkeypatch.setattr("analysis_lib.reports.running.report_end.lost_recordings", lambda *_: ())
    monkeypatch.setattr("analysis_lib.reports.running.runner.lost_recordings", lambda *_: ())
    study, report = tmp_path / "study", tmp_path / "report"
    small_study(study, riders=3, duration_s=3.0)
    (study / "datapackage.json").unlink()  # else it is what tells of other recordings
    _run(study, report)
    return study, report


def _run(study, report, **options):
    return make_report(study, report, say=lambda line: None, **options)


def _outdated(study, report, **options):
    """What one rider's run leaves out of date, by subject."""
    again = _run(study, report, only_rider="R01", **options)
    return {page.subject: page.outdated for page in again.outdated}


def _index(report):
    return unescape((report / "index.html").read_text(encoding="utf-8"))


def test_where_nothing_changed_nothing_is_out_of_date_and_no_byte_is_another_but_the_command(made):
    study, report = made
    before = checksums(report)
    assert _outdated(study, report, fresh=True) == {} and ANSWER in _index(report)
    after = checksums(report)
    assert {name for name in before if after[name] != before[name]} <= {"run.json", CRATE}


def test_a_changed_setting_leaves_no_answer_on_the_first_page_and_every_record_says_why(made, capsys):
    study, report = made
    replace_in_settings(study, "smallest_effect = 4.0", "smallest_effect = 0.5")
    assert main(["report", str(study), "--out", str(report), "--rider", "R01"]) == 0
    said = capsys.readouterr()
    why = "out of date: made before study.toml changed"
    assert "out of date 4 " in said.out and f"The study, The data and Rider R02: {why}; {REMEDY}" in said.err
    page = _index(report)
    assert ANSWER not in page and "What is the answer?" not in page
    assert "Out of date, no longer what the study as it is now would give: The study, The data" in page
    assert "run roundoval report without --rider" in page
    assert page.count(f"<td>{why}</td>") == 3 and "<td>made</td>" in page
    states = json.loads((report / "run.json").read_text())["states"]
    assert states == {
        "R01": "made",
        "R02": why,
        FAILS: "out of date: failed before study.toml changed",
        "the data": why,
        "the study": why,
    }
    told = {part["@id"]: part.get("description", "") for part in entities_of(report / CRATE)}
    assert why in told["#make-the%20study"] and "out of date" not in told["#make-R01"]
    found = {check.what: (check.finding, check.details) for check in verify_report(report, None)}
    assert found["page of the study"] == found["page of R02"] == ("differs", f"{why}; {REMEDY}")
    assert "page of R01" not in found
    assert found["run.json"][0] == found[CRATE][0] == found["files of the study"][0] == "agrees"


def test_a_recording_in_another_s_place_costs_its_rider_s_page_and_those_about_all(made):
    study, report = made
    trials = pd.read_csv(study / "trials.csv", dtype=str)
    file = trials.loc[trials["rider"] == "R02", "file"].iloc[0]
    (study / file).write_bytes((study / file).read_bytes() + b" ")
    found = _outdated(study, report)
    assert set(found) == {"R02", "the data", "the study"}
    assert found["R02"] == f"out of date: made before {file} changed"
    assert found["the study"].startswith("out of date: made before riders' pages or their recordings changed")


def test_a_mended_recording_of_a_failed_rider_is_noticed(made):
    study, report = made
    trials = pd.read_csv(study / "trials.csv", dtype=str)
    file = trials.loc[trials["rider"] == FAILS, "file"].iloc[0]
    (study / file).write_bytes((study / file).read_bytes() + b" ")
    found = _outdated(study, report)
    assert set(found) == {FAILS, "the data", "the study"}
    assert found[FAILS] == f"out of date: failed before {file} changed"


def test_another_rider_s_row_leaves_the_riders_alone(made):
    study, report = made
    edit_table(study, "riders.csv", lambda riders: riders.assign(mass_kg=["91", *riders["mass_kg"][1:]]))
    found = _outdated(study, report)
    assert set(found) - {FAILS} == {"the data", "the study"}
    assert found["the study"] == "out of date: made before riders.csv changed"


def test_the_page_of_a_rider_who_was_taken_out_is_listed_until_a_full_run(made):
    study, report = made
    for table in ("riders.csv", "trials.csv"):
        edit_table(study, table, lambda frame: frame[frame["rider"] != "R02"])
    assert _outdated(study, report)["R02"] == "out of date: the study no longer has this page"
    assert "Rider R02" in _index(report)
    found = {check.what: check.finding for check in verify_report(report, None)}
    assert found["page of R02"] == "differs" and found["run.json"] == "agrees"
    assert _run(study, report).outdated == () and "Rider R02" not in _index(report)


def test_a_full_run_or_the_study_as_it_was_takes_the_words_away_to_the_byte(made, tmp_path):
    study, report = made
    before, settings = checksums(report), (study / "study.toml").read_text()
    replace_in_settings(study, "smallest_effect = 4.0", "smallest_effect = 0.5")
    assert _outdated(study, report)
    mixed = shutil.copytree(report, tmp_path / "mixed")
    (study / "study.toml").write_text(settings)
    assert _outdated(study, report) == {} and ANSWER in _index(report)
    _run(study, report)
    assert checksums(report) == before
    _run(study, mixed)
    assert checksums(mixed) == before


def test_a_page_made_again_is_current_and_what_it_changes_is_not(made):
    study, report = made
    replace_in_settings(study, "smallest_effect = 4.0", "smallest_effect = 0.5")
    _outdated(study, report)
    again = _run(study, report, only_rider="R02")
    assert [page.subject for page in again.outdated] == ["the study", "the data", FAILS]
    assert "out_of_date" not in PageKeys(report).of("R02")


def test_many_pages_out_of_date_fill_no_screen():
    pages = [PageState(f"R{n}", f"Rider R{n}", "", "", outdated="out of date: x") for n in range(1, 10)]
    assert lines_of_outdated(pages) == [
        "Rider R1, Rider R2, Rider R3, Rider R4 and 5 more: out of date: x; " + REMEDY
    ]
