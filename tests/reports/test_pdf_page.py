"""Paper pages are whole and the same twice; where none can be made, one sentence says why."""

import re
import shutil
import sys

import pandas as pd
import pytest
from paper import A4_POINTS, MARGIN_POINTS, TOP_POINTS, paper_pages, poppler, require_printer

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files import pdf_page
from analysis_lib.reports.files.run_record import checksums, sha256_of
from analysis_lib.reports.pages import pages
from analysis_lib.reports.pages.pages import write_page
from analysis_lib.reports.record import printed_first_page
from analysis_lib.reports.record.page_origin import software
from analysis_lib.reports.running import runner
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(autouse=True)
def _needs_weasyprint(request):
    if "no_printer" not in request.fixturenames:
        require_printer()


@pytest.fixture
def no_printer():
    """Forget the printer before and after, so that it is looked for anew."""
    pdf_page._printer.cache_clear()
    yield
    pdf_page._printer.cache_clear()


def _printed(folder, *exhibits, words=""):
    page = folder / "page.html"
    body = words + "".join(exhibit.html() for exhibit in exhibits)
    write_page(page, "A page", body, "A study", "../index.html")
    return page.with_suffix(".pdf")


def _table(name, rows, columns, words=""):
    frame = pd.DataFrame({f"measure {k}": [1234.5 + k] * rows for k in range(columns)})
    frame.insert(0, "trial", [f"R{row:02d}-P1-steady" for row in range(rows)])
    frame["reason"] = words
    return TableExhibit(name, frame, f"Caption of {name}")


def test_a_number_s_link_to_another_page_prints_no_address_and_any_other_link_does(tmp_path):
    words = '<p>As large as <a class="row" href="study.html#table-x">4</a> W; <a href="study.html">the study</a>.</p>'
    (page,) = paper_pages(_printed(tmp_path, words=words))
    assert " ".join(word[4] for word in page[2]).count("As large as 4 W; the study (study.html).") == 1


def test_a_line_is_full_where_a_blank_that_does_not_break_stands_before_a_link_at_its_end(tmp_path):
    """A line holds some 100 letters, so that of these sentences some break within or beside the link."""
    said = (f'First {"word " * count}p\xa0=\xa0<a class="row">0.35</a> and more' for count in range(15, 22))
    words = "".join(f"<p>{sentence}.</p>" for sentence in said)
    (page,) = paper_pages(_printed(tmp_path, words=words))
    firsts = [number for number, word in enumerate(page[2]) if word[4] == "First"]
    assert len(firsts) == 7
    for first in firsts:
        assert len({page[2][number][1] for number in range(first, first + 10)}) == 1  # ten words on one line


@pytest.fixture(scope="module")
def long_and_broad(tmp_path_factory):
    """The paper pages of a table longer than a page and one broader than a page."""
    require_printer()
    folder = tmp_path_factory.mktemp("tables")
    return paper_pages(_printed(folder, _table("long", 40, 7, "one more word " * 5), _table("broad", 3, 16)))


def test_a_long_table_repeats_its_head_and_a_very_wide_one_turns_the_page(long_and_broad):
    upright, turned = long_and_broad[:-1], long_and_broad[-1]
    assert len(upright) > 1
    for width, height, words in upright:
        assert (width, height) == pytest.approx(A4_POINTS, abs=0.01)
        assert "trial" in [word[4] for word in words]
    assert turned[:2] == pytest.approx(A4_POINTS[::-1], abs=0.01)
    assert max(word[2] for word in turned[2]) <= A4_POINTS[1] - MARGIN_POINTS + 1


def test_pages_are_numbered_and_bear_the_running_title(long_and_broad):
    assert len(long_and_broad) > 2
    for number, (_, _, words) in enumerate(long_and_broad, 1):
        assert f"Page {number} of {len(long_and_broad)}" in " ".join(word[4] for word in words)
        above = " ".join(word[4] for word in words if word[3] < TOP_POINTS)
        assert above == ("" if number == 1 else "A study A page")


def test_links_are_spelled_out_and_files_outside_are_never_read(tmp_path):
    (tmp_path / "secret.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg"><text y="9">hush</text></svg>'
    )
    picture = f'<img alt="a picture" src="{(tmp_path / "secret.svg").as_uri()}">'
    words = f'<p><a href="https://example.org/x">a source</a></p>{picture}'
    text = poppler("pdftotext", "-layout", _printed(tmp_path, words=words), "-")
    assert "(https://example.org/x)" in text
    assert "(../index.html)" in text
    assert "hush" not in text


def test_the_same_page_gives_the_same_bytes_and_no_place_of_this_machine(tmp_path):
    pdf = _printed(tmp_path, _table("t", 5, 3))
    first = pdf.read_bytes()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    assert _printed(elsewhere, _table("t", 5, 3)).read_bytes() == first
    assert str(tmp_path).encode() not in first


def test_an_unchanged_first_page_is_not_printed_again_and_a_changed_one_is(
    one_trial_report, tmp_path, monkeypatch
):
    report = tmp_path / "report"
    shutil.copytree(one_trial_report.folder, report)
    before, printed = checksums(report), []
    monkeypatch.setattr(pages, "write_pdf", lambda html, pdf: printed.append(pdf.name))
    runner.make_report(one_trial_report.study, report, say=lambda _: None)
    assert printed == []
    assert checksums(report) == before
    index = report / "index.html"
    for title, expected in (("A page", ["index.pdf"]), ("Another page", ["index.pdf"] * 2)):
        write_page(index, title, "", "A study", printed=before["index.html"])
        assert printed == expected
    write_page(index, "Another page", "", "A study", printed=sha256_of(index))
    assert printed == expected


@pytest.mark.parametrize("stale", ["", "index.pdf", "run.json", "ro-crate-metadata.json", "source", "paper"])
def test_a_pdf_is_kept_only_as_this_program_and_printer_left_it(
    one_trial_report, tmp_path, monkeypatch, stale
):
    report = tmp_path / "report"
    report.mkdir()
    for name in ("index.html", "index.pdf", "run.json", "ro-crate-metadata.json"):
        shutil.copy(one_trial_report.folder / name, report)
    if (report / stale).is_file():
        (report / stale).write_bytes(b"edited")
    elif stale:
        monkeypatch.setattr(printed_first_page, "software", lambda: software() | {stale: "another"})
    whole = sha256_of(report / "index.html")
    assert printed_first_page.first_page_printed(report) == ("" if stale else whole)
    (report / "index.pdf").unlink()
    assert printed_first_page.first_page_printed(report) == ""


@pytest.mark.parametrize(
    ("stands_in", "told"),
    [
        ("raise ImportError('no such module')", r"roundoval\[pdf\]"),
        ("raise OSError('cannot load library libpango-1.0-0')", "libpango-1.0-0"),
        (
            "import warnings\nwarnings.warn('No fonts configured in FontConfig. Expect ugly output.')",
            "DejaVu",
        ),
    ],
)
def test_without_the_printer_there_is_html_only_and_one_sentence_why(
    tmp_path, monkeypatch, no_printer, stands_in, told
):
    (tmp_path / "weasyprint.py").write_text(f"print('a banner')\n{stands_in}\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    for name in [name for name in sys.modules if name.split(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    assert re.search(told, pdf_page.why_no_pdf())
    assert pdf_page.printer_version() == "none"
    pdf = _printed(tmp_path, _table("t", 2, 2))
    assert pdf.with_suffix(".html").is_file()
    assert not pdf.exists()
    with pytest.raises(Refusal, match=told):
        pdf_page.write_pdf(pdf.with_suffix(".html"), pdf)


def test_a_run_says_once_why_there_is_no_pdf(tmp_path, monkeypatch, no_printer):
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    monkeypatch.setattr(runner, "why_no_pdf", lambda: "no printer here")
    monkeypatch.setattr(runner, "_chosen_pages", lambda study, only_rider, subjects: ())
    said = []
    runner.make_report(tmp_path / "study", tmp_path / "report", say=said.append)
    assert said.count("no printer here") == 1
