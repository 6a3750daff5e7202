"""Pages in a real browser: rules of accessibility, keyboard, phone, zoom and grey print."""

import pytest
from accessibility import axe_script
from browser import browser_page, require_browser

PAGES = ("index.html", "riders/R01.html", "study.html", "data_quality.html", "riders/R03.html")
"""One of each kind; R03 could not be analysed."""

TAB = 9
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
BROKEN_LINKS = """[...document.querySelectorAll('a[href^="#"]')].filter(
    link => !document.getElementById(decodeURIComponent(link.hash.slice(1)))).map(link => link.hash)"""


@pytest.fixture(scope="module")
def shown(damaged_report, tmp_path_factory):
    program = require_browser()
    first = (damaged_report.folder / "index.html").as_uri()
    with browser_page(program, first, tmp_path_factory.mktemp("home")) as page:
        yield page


@pytest.fixture
def opened(request, shown, damaged_report):
    shown.resize(1200)
    shown.open((damaged_report.folder / request.param).as_uri())
    return shown


every_page = pytest.mark.parametrize("opened", PAGES, indirect=True)
pytestmark = [pytest.mark.browser, pytest.mark.long]


@every_page
def test_no_rule_of_accessibility_is_broken(opened):
    opened.value(axe_script() + "; 0")
    findings = opened.promised(FINDINGS)
    assert [finding for finding in findings if finding[0] in ("serious", "critical")] == []
    assert opened.value(UNNAMED_TABLES) == 0


@pytest.mark.parametrize("opened", ["index.html"], indirect=True)
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
    opened.resize(360)
    assert opened.value(UNREACHABLE) == []
    assert opened.value(BROKEN_LINKS) == []


@every_page
@pytest.mark.parametrize("width", [360, 640], ids=["phone", "1280 pixels at 200 % zoom"])
def test_narrow_pages_do_not_scroll_sideways(opened, width):
    opened.resize(width)
    assert opened.value(OVERFLOW) <= 0


@pytest.mark.parametrize("opened", ["study.html"], indirect=True)
def test_a_link_in_a_sentence_shows_its_row(opened):
    opened.value("document.querySelector('a.row').click()")
    assert opened.value("document.querySelector('tr:target') !== null")
    assert (
        opened.value("getComputedStyle(document.querySelector('tr:target')).backgroundColor")
        != "rgba(0, 0, 0, 0)"
    )


@pytest.mark.parametrize("opened", ["study.html"], indirect=True)
def test_the_answer_comes_first_and_the_making_last(opened):
    headings = opened.value("[...document.querySelectorAll('h2')].map(heading => heading.innerText)")
    assert "answer" in headings[0]
    assert headings[-2:] == ["Reasons to doubt this", "How this was made"]
    assert opened.value("document.querySelectorAll('nav.contents a').length") == len(headings)
