"""The runner: a fault stops the smallest part, pages are self-contained, raw data stay as they were."""

import json
import re
import shutil
from html import unescape
from html.parser import HTMLParser

import pandas as pd
import pytest
from captions import captions_of, long_captions
from edits import edit_table
from paper import MARGIN_POINTS, paper_pages, poppler, require_printer
from said_numbers import links_of, names_with_numbers, sentences_without_rows

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.reports.running.runner import make_report
from analysis_lib.study.declared.study_heading import SIMULATED
from analysis_lib.study.synthetic.synthetic import small_study

VOID = {"meta", "img", "br", "hr", "input", "link"}


class _Page(HTMLParser):
    """Collects what a page loads, its images and whether its tags close."""

    def __init__(self, text):
        super().__init__()
        self.loads, self.images, self.open, self.ids = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.loads += [found[name] for name in ("src", "href") if name in found]
        if tag == "script":
            self.loads.append("script")
        if tag == "img":
            self.images.append(found)
        if "id" in found:
            self.ids.append(found["id"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_one_riders_fault_leaves_the_others_alone_and_gives_exit_code_1(damaged_report):
    states = {page.subject: page.made for page in damaged_report.report.pages}
    assert states == {
        "R01": True,
        "R02": True,
        "R03": False,
        "R04": True,
        "the data": True,
        "the study": True,
    }
    assert damaged_report.report.exit_code == 1
    assert sum(", key " in line for line in damaged_report.said) == 6


def test_one_rider_s_page_alone_is_not_blamed_for_the_others(damaged_report, tmp_path):
    out = shutil.copytree(damaged_report.folder, tmp_path / "report")  # unchanged pages are not made again
    well, ill = (
        make_report(damaged_report.study, out, only_rider=rider, say=lambda line: None)
        for rider in ("R01", "R02")
    )
    assert (well.problems, well.faults, well.exit_code) == ((), (), 0)
    (problem,) = ill.problems
    assert "R02-P1-easy" in problem and ill.exit_code == 1


def test_a_failed_page_says_who_and_what_to_mend(damaged_report):
    text = damaged_report.text("riders/R03.html")
    assert "No result could be made for Rider R03" in text
    assert re.search(r"riders\.csv, row 4.*RRRR", text)
    assert "What to mend" in text


def test_a_rider_without_a_usable_recording_has_one_message_for_each_and_no_trace(tmp_path):
    study, said = tmp_path / "study", []
    small_study(study, riders=1, duration_s=4.0)
    edit_table(study, "trials.csv", lambda frame: frame.head(3).assign(exclude_reason=["", "", "chain fell"]))
    edit_table(study, "trials.csv", lambda frame: frame.assign(exclude=["no", "no", "yes"]))
    trials = pd.read_csv(study / "trials.csv", dtype=str)
    for file, kept in zip(trials["file"][:2], (200, 300), strict=True):
        (study / file).write_bytes((study / file).read_bytes()[:kept])
    (study / "datapackage.json").unlink()  # else it is what tells that the files are others
    report = make_report(study, tmp_path / "report", only_rider="R01", say=said.append)
    page = (tmp_path / "report" / "riders" / "R01.html").read_text(encoding="utf-8")
    to_mend = re.findall(r"<li>(R01-P1-[^<]*)</li>", page)
    assert [line.count(" – got ") for line in to_mend] == [1, 1, 0]
    assert to_mend[2] == "R01-P1-hard: excluded: chain fell"
    assert "Traceback" not in page and "The trace" not in page
    (progress,) = [line for line in said if "Rider R01: failed" in line]
    assert progress.count(" – got ") == 1 and "no trial that could be used, of 3 listed" in progress
    assert [fault.count(" – got ") for fault in report.faults] == [1, 1]
    assert all(trial in fault for trial, fault in zip(trials["trial"], report.faults, strict=False))
    assert report.exit_code == 1


def test_a_missing_or_truncated_file_costs_its_trial_only_and_is_said(damaged_report):
    for rider, trial in (("R02", "R02-P1-easy"), ("R04", "R04-P1-easy")):
        trials = pd.read_csv(damaged_report.folder / "tables" / "riders" / rider / "trials.csv")
        lost = trials[trials["state"] == "not used"]
        assert list(lost["trial"]) == [trial]
        assert trial in damaged_report.text(f"riders/{rider}.html")
    flow = pd.read_csv(damaged_report.folder / "tables" / "study" / "as_shown" / "set_aside.csv")
    assert set(flow["trial"]) == {"R02-P1-easy", "R04-P1-easy", "all"}
    assert flow.set_index("trial").loc["all", "rider"] == "R03"


def test_raw_data_are_unchanged(damaged_report):
    assert checksums(damaged_report.study) == damaged_report.before


@pytest.mark.parametrize("page", ["index.html", "study.html", "riders/R01.html", "riders/R03.html"])
def test_pages_are_self_contained_and_well_formed(damaged_report, page):
    parsed = _Page(damaged_report.text(page))
    assert not parsed.open
    assert len(parsed.ids) == len(set(parsed.ids))
    for address in parsed.loads:
        if address.startswith(("data:image/", "#")):
            continue
        file, _, row = address.partition("#")
        there = (damaged_report.folder / page).parent / file
        assert there.exists()
        if row:
            assert f'id="{row}"' in there.read_text(encoding="utf-8")
    figures = [image for image in parsed.images if "formula" not in image.get("class", "")]
    assert all(len(image["alt"]) > 20 for image in figures)
    assert all(image["alt"] for image in parsed.images)


def test_every_page_and_the_first_say_below_the_title_that_the_data_are_simulated(damaged_report):
    for path in [*damaged_report.folder.glob("*.html"), *damaged_report.folder.glob("riders/*.html")]:
        head = path.read_text(encoding="utf-8").partition("</header>")[0]
        assert head.index("<h1>") < head.index(SIMULATED), path.name


@pytest.mark.parametrize(
    ("page", "fewest"), [("study.html", 15), ("riders/R01.html", 15), ("data_quality.html", 9)]
)
def test_captions_are_short_enough_to_be_read(damaged_report, page, fewest):
    assert len(captions_of(damaged_report.text(page))) > fewest
    assert long_captions(damaged_report.text(page)) == []


def test_pages_hold_their_figures(damaged_report):
    rider = {"figure-quality_strip", "figure-torque_by_angle", "figure-torque_polar", "figure-crank_speed"}
    study = {
        "figure-quality_strip",
        "figure-effect_power_W",
        "figure-paired_power_W",
        "figure-periods_power_W",
    }
    assert rider <= set(_Page(damaged_report.text("riders/R01.html")).ids)
    assert study <= set(_Page(damaged_report.text("study.html")).ids)


def test_the_record_names_every_input_by_checksum_and_no_place_of_this_machine(damaged_report):
    record = damaged_report.record()
    lost = pd.read_csv(damaged_report.study / "trials.csv").set_index("trial").loc["R02-P1-easy", "file"]
    unread = {"README.md", "truth.json", "generator.json"}
    read = {name: sha for name, sha in damaged_report.before.items() if name not in unread}
    assert record["inputs"] == read | {lost: "missing"}
    assert record["command"] == "roundoval report STUDY --out REPORT"
    assert record["states"]["R03"].startswith("failed")
    assert record["parameters"]["R01"] == {"study_dir": "study", "rider": "R01", "results_dir": "results"}
    for path in damaged_report.folder.rglob("*"):
        if path.suffix in {".html", ".ipynb", ".json", ".csv"}:
            text = path.read_text(encoding="utf-8")
            assert str(damaged_report.study.parent) not in text
            assert "/tmp/" not in text


def test_the_research_object_tells_of_the_failed_page(damaged_report):
    rocrate = pytest.importorskip("rocrate.rocrate")
    actions = rocrate.ROCrate(damaged_report.folder).root_dataset["mentions"]
    failed = [action for action in actions if str(action["actionStatus"]).endswith("FailedActionStatus")]
    assert [action["name"] for action in failed] == ["Make the page riders/R03.html"]
    assert "RRRR" in failed[0]["error"]
    assert len(actions) == len(damaged_report.report.pages)


def test_the_first_page_gives_the_study_s_answer_and_links_its_page_first(damaged_report):
    answer = json.loads((damaged_report.folder / "results.json").read_text())["answer"]
    unlinked = re.sub(r'<a class="row" [^>]*>([^<]*)</a>', r"\1", damaged_report.text("index.html"))
    page = unescape(unlinked).replace("\N{NO-BREAK SPACE}", " ")  # as in "p = 0.01", which no line breaks
    assert answer and all(sentence in page for sentence in answer)
    assert page.index(answer[0]) < page.index('href="study.html"') < page.index('href="data_quality.html"')


@pytest.mark.long
def test_the_first_page_lists_recordings_that_could_not_be_used(tmp_path):
    study, out = tmp_path / "study", tmp_path / "report"
    small_study(study, riders=1, duration_s=8.0)
    (study / "datapackage.json").unlink()  # it would find the change before the recording is read
    recording = study / "recordings" / "R01-P1-easy.parquet"
    table = pd.read_parquet(recording)
    table.assign(left_mNm=0.0, right_mNm=0.0).to_parquet(recording)
    faults = make_report(study, out, say=lambda line: None).faults
    assert len(faults) == 1 and "R01-P1-easy" in faults[0]
    assert f"<li>{faults[0]}</li>" in unescape((out / "index.html").read_text(encoding="utf-8"))


def test_results_hold_every_declared_outcome_with_unit_interval_n_and_method(damaged_report):
    results = json.loads((damaged_report.folder / "results.json").read_text())
    assert results["riders_analysed"] == ["R01", "R02", "R04"]
    assert list(results["riders_left_out"]) == ["R03"]
    assert results["outcomes"][0]["primary"] is True
    for outcome in results["outcomes"]:
        assert outcome["method"]
        names = [row["intensity"] for row in outcome["estimates"]]
        assert names == ["easy", "steady", "hard", "overall"]
    for row in results["outcomes"][0]["estimates"]:
        assert row["low"] < row["estimate"] < row["high"]
        assert row["n"] == 3
        assert row["verdict"] in {"difference", "equivalent", "undecided"}


@pytest.mark.long
def test_equal_inputs_give_equal_bytes_whatever_the_number_of_jobs(one_trial_report, tmp_path):
    """In the quick run `verify` tells as much of each file: it makes two pages at a time anew, these came one by one."""
    make_report(one_trial_report.study, tmp_path / "report", jobs=3, say=lambda line: None)
    assert checksums(one_trial_report.folder) == checksums(tmp_path / "report")


def test_one_rider_one_ring_one_trial_gives_a_page_that_says_what_it_cannot(one_trial_report):
    report = one_trial_report
    assert report.report.exit_code == 0
    page = report.text("riders/R01.html")
    assert "Only the round ring has trials that count" in page
    assert "Only one intensity has trials that count" in page
    study = report.text("study.html")
    assert "This study cannot answer its question" in study
    results = json.loads((report.folder / "results.json").read_text())
    assert all(outcome["estimates"] == [] and outcome["why_none"] for outcome in results["outcomes"])


def test_an_unknown_rider_is_refused_before_anything_is_written(damaged_report, tmp_path):
    with pytest.raises(Refusal, match="R99"):
        make_report(damaged_report.study, tmp_path / "out", only_rider="R99")
    assert not (tmp_path / "out").exists()


def test_output_inside_the_study_or_over_foreign_files_is_refused(damaged_report, tmp_path):
    with pytest.raises(Refusal, match="inside the study"):
        make_report(damaged_report.study, damaged_report.study / "report")
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(Refusal, match="other files"):
        make_report(damaged_report.study, tmp_path)
    assert (tmp_path / "thesis.txt").read_text() == "mine"


def test_every_page_of_a_report_has_its_pdf_with_title_language_and_tags(damaged_report):
    require_printer()
    pages = sorted(damaged_report.folder.rglob("*.html"))
    assert len(pages) == 7
    for page in pages:
        facts = poppler("pdfinfo", page.with_suffix(".pdf"))
        title = re.search(r"<title>(.*?)</title>", page.read_text())[1]
        assert f"Title:           {title}\n" in facts
        assert re.search(r"Tagged: +yes", facts)
        assert "CreationDate" not in facts
        structure = poppler("pdfinfo", "-struct", page.with_suffix(".pdf"))
        tags = [line.split()[0].rstrip(":") for line in structure.splitlines() if line.strip()]
        html = page.read_text()
        assert (tags.count("Figure"), tags.count("H2")) == (html.count("<img "), html.count("<h2 "))
        assert tags.count("Table") >= html.count("<table ")  # a table on two pages is tagged on both


def test_nothing_stands_beyond_the_margins_of_any_page(damaged_report):
    require_printer()
    for page in damaged_report.folder.rglob("*.pdf"):
        for width, _, words in paper_pages(page):
            assert words, "an empty page"
            assert max(word[2] for word in words) <= width - MARGIN_POINTS + 1
            assert min(word[0] for word in words) >= MARGIN_POINTS - 1


@pytest.mark.parametrize("page", ["riders/R01.html", "study.html", "data_quality.html"])
def test_numbers_in_sentences_link_to_their_row_or_are_known_to_have_none(damaged_report, page):
    text = damaged_report.text(page)
    links = links_of(text)
    assert set(links) <= set(_Page(text).ids)
    assert sentences_without_rows(text, names_with_numbers(damaged_report.study)) == []
    assert len(links) >= {"riders/R01.html": 20, "study.html": 60}.get(page, 0)


def test_every_table_names_the_file_of_its_unrounded_values(damaged_report):
    for page in ("riders/R01.html", "study.html", "data_quality.html"):
        text = damaged_report.text(page)
        files = re.findall(r'<p class="source"><a href="([^"]+)">', text)
        assert len(files) == text.count("<table ")
        assert all((damaged_report.folder / page).parent.joinpath(file).is_file() for file in files)
