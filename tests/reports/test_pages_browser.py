"""Every kind of page in a real browser: rules of accessibility, keyboard, phone, zoom, grey and print preview."""

import base64
import shutil

import pytest
from accessibility import axe_script
from browser import browser_page, require_browser
from paper import paper_pages
from said_numbers import names_with_numbers, sentences_without_rows

from analysis_lib.reports.running.many_studies import report_studies
from analysis_lib.study.synthetic.synthetic import small_rider_study, small_rings_study

ANSWERS = {
    "damaged/riders/R01.html": "What can be said about this rider?",
    "damaged/study.html": "What is the answer?",
    "damaged/data_quality.html": "What is the answer?",
    "many/rings/study.html": "What is the answer?",
    "many/rings/riders/R01.strong.html": "What can be said about this rider?",
    "many/alone/study.html": "What is the answer?",
}
"""Pages with an answer, one of each kind: two rings, several rings and one rider; and the heading it stands under."""

PAGES = ("damaged/index.html", "damaged/riders/R03.html", "many/index.html", *ANSWERS)
"""And those without: the first page, the page of a rider who could not be analysed, the page over several studies."""

TAB, ENTER = 9, 13
FINDINGS = """axe.run(document, {resultTypes: ["violations"]}).then(found => found.violations.map(
    rule => [rule.impact, rule.id, rule.nodes.slice(0, 3).map(node => node.html.slice(0, 200))]))"""
FOCUSED = "document.activeElement.className + '|' + (document.activeElement.getAttribute('href') ?? '')"
OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
UNREACHABLE = """[...document.querySelectorAll('main *')].filter(
    element => element.scrollWidth > element.clientWidth + 1
        && ['auto', 'scroll'].includes(getComputedStyle(element).overflowX) && element.tabIndex < 0
    ).map(element => element.outerHTML.slice(0, 200))"""
UNNAMED_TABLES = """[...document.querySelectorAll('table')].filter(table => !table.caption
    || [...table.querySelectorAll('th')].some(head => !head.scope)).length"""
ANSWER_PRECEDES_SECOND_HEADING = """!!(document.querySelectorAll('h2')[1].compareDocumentPosition(
    document.querySelector('.answer')) & Node.DOCUMENT_POSITION_PRECEDING)"""
UNSEEN_FOCUS = """(() => {const style = getComputedStyle(document.activeElement);
    return style.outlineStyle == 'none' || parseFloat(style.outlineWidth) < 2})()"""
NARROW_LETTERING = """[...document.querySelectorAll('figure.exhibit img')].filter(
    picture => picture.complete && 7 * 96 / 72 * picture.width / picture.naturalWidth < 7.5).map(picture => picture.alt)"""
"""Figures are drawn with letters of 7 points, of which 72 make 96 CSS pixels; the width says how much they are shrunk."""
CUT_CAPTIONS = """[...document.querySelectorAll('caption .words, figcaption')].filter(
    words => words.getBoundingClientRect().right > document.documentElement.clientWidth + 1
    ).map(words => words.innerText)"""
BROKEN_LINKS = """[...document.querySelectorAll('a[href^="#"]')].filter(
    link => !document.getElementById(decodeURIComponent(link.hash.slice(1)))).map(link => link.hash)"""


@pytest.fixture(scope="module")
def reports(damaged_report, tmp_path_factory):
    """A folder with the report of the damaged study and one over two others."""
    require_browser()
    root = tmp_path_factory.mktemp("reports")
    shutil.copytree(damaged_report.folder, root / "damaged")
    small_rings_study(root / "rings")
    small_rider_study(root / "alone")
    report_studies([root / "rings", root / "alone"], root / "many")
    return root


@pytest.fixture(scope="module")
def shown(reports, tmp_path_factory):
    first = (reports / PAGES[0]).as_uri()
    with browser_page(require_browser(), first, tmp_path_factory.mktemp("home")) as page:
        yield page


@pytest.fixture
def opened(request, shown, reports):
    shown.resize(1200)
    shown.open((reports / request.param).as_uri())
    return shown


every_page = pytest.mark.parametrize("opened", PAGES, indirect=True)
pytestmark = [pytest.mark.browser, pytest.mark.long]


@every_page
def test_no_rule_of_accessibility_is_broken(opened):
    opened.value(axe_script() + "; 0")
    findings = opened.promised(FINDINGS)
    assert [finding for finding in findings if finding[0] in ("serious", "critical")] == []
    assert opened.value(UNNAMED_TABLES) == 0


@pytest.mark.parametrize("opened", PAGES[:1], indirect=True)
def test_the_rules_do_find_what_is_broken(opened):
    opened.value(axe_script() + "; 0")
    opened.value(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=x><p style=color:#bbb>pale words')"
    )
    found = {finding[1] for finding in opened.promised(FINDINGS)}
    assert {"image-alt", "color-contrast"} <= found


@every_page
def test_the_keyboard_reaches_the_content_first_and_every_frame_that_scrolls(opened):
    opened.press("Tab", TAB)
    assert opened.value(FOCUSED) == "skip|#main"
    assert opened.value("document.activeElement.getBoundingClientRect().left >= 0")
    opened.press("Enter", ENTER)
    assert opened.value("document.activeElement.id") == "main"
    opened.resize(360)
    assert opened.value(UNREACHABLE) == []
    assert opened.value(BROKEN_LINKS) == []


@every_page
def test_whatever_has_the_focus_shows_it(opened):
    for _ in range(12):
        opened.press("Tab", TAB)
        if opened.value("document.activeElement == document.body"):
            break  # past the last of few links
        assert not opened.value(UNSEEN_FOCUS), opened.value("document.activeElement.outerHTML.slice(0, 200)")


@every_page
@pytest.mark.parametrize("width", [360, 640], ids=["phone", "1280 pixels at 200 % zoom"])
def test_narrow_pages_do_not_scroll_sideways_nor_shrink_what_is_read(opened, width):
    opened.resize(width)
    assert opened.value(OVERFLOW) <= 0
    assert opened.value(NARROW_LETTERING) == []
    assert opened.value(CUT_CAPTIONS) == []


@every_page
def test_the_print_preview_holds_every_word_inside_the_sheet(opened, tmp_path):
    printed = opened.call("Page.printToPDF", preferCSSPageSize=True)
    (tmp_path / "page.pdf").write_bytes(base64.b64decode(printed["data"]))
    heading = opened.value("document.querySelector('h1').innerText").split()[0]
    pages = paper_pages(tmp_path / "page.pdf")
    assert heading in [word[4] for word in pages[0][2]]
    for width, height, words in pages:
        assert all(word[0] >= 0 and word[2] <= width and word[3] <= height for word in words)


@pytest.mark.parametrize("opened", ["damaged/study.html"], indirect=True)
def test_a_link_in_a_sentence_shows_its_row(opened):
    opened.value("document.querySelector('a.row').click()")
    assert opened.value("document.querySelector('tr:target') !== null")
    assert (
        opened.value("getComputedStyle(document.querySelector('tr:target')).backgroundColor")
        != "rgba(0, 0, 0, 0)"
    )


@pytest.mark.parametrize(("opened", "answer"), ANSWERS.items(), indirect=["opened"])
def test_the_answer_comes_first_and_the_making_last(opened, answer):
    headings = opened.value("[...document.querySelectorAll('h2')].map(heading => heading.innerText)")
    assert headings[0] == answer
    assert opened.value(ANSWER_PRECEDES_SECOND_HEADING)
    assert headings[-2:] == ["Reasons to doubt this", "How this was made"]
    assert opened.value("document.querySelectorAll('nav.contents a').length") == len(headings)


def test_numbers_of_every_page_of_every_kind_lead_to_a_row_or_are_known_to_have_none(reports, damaged_report):
    studies = (damaged_report.study, reports / "rings", reports / "alone")
    names = [name for study in studies for name in names_with_numbers(study)]
    pages = sorted(reports.rglob("*.html"))
    assert len(pages) > len(PAGES)
    left = {page.name: sentences_without_rows(page.read_text(encoding="utf-8"), names) for page in pages}
    assert {name: sentences for name, sentences in left.items() if sentences} == {}
