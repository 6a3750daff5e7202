"""Figures on paper bear their words as text, each where matplotlib drew it; what does not simply follow stays drawn."""

import re

import pytest
from matplotlib.figure import Figure
from paper import paper_pages, poppler, require_printer

from analysis_lib.reports.exhibits.exhibit import FigureExhibit
from analysis_lib.reports.figures.style import in_house_style
from analysis_lib.reports.files import lettering
from analysis_lib.reports.pages.pages import write_page


@in_house_style
def _figure(*lines):
    figure = Figure(figsize=(7, 2))
    for number, (words, rotation) in enumerate(lines):
        figure.text(0.1 + 0.2 * number, 0.3, words, rotation=rotation)
    return FigureExhibit("f", figure, "A caption", "An alternative text")


def _picture(exhibit, monkeypatch):
    monkeypatch.setattr(lettering, "_has_font", lambda: True)
    return lettering.LINE.sub(lettering.set_line, exhibit.svg().decode())


def test_words_can_be_searched_on_paper_and_stand_where_they_were_drawn(tmp_path):
    """Where: matplotlib's own measure of the text's left edge, in points of the figure, against poppler's."""
    require_printer()
    if not lettering._has_font():
        pytest.skip("DejaVu Sans is not installed")
    exhibit = _figure(("Loading", 0), ("−30", 0), ("Zero & <b>", 0))
    write_page(tmp_path / "page.html", "T", exhibit.html(), "S")
    (page,) = paper_pages(tmp_path / "page.pdf")
    printed = {word[4]: word[0] for word in page[2]}
    drawn = {
        text.get_text().split()[0]: text.get_window_extent().x0 / exhibit.figure.bbox.width
        for text in exhibit.figure.texts
    }
    width = (
        0.97 * 180 / 25.4 * 72
    )  # 7 inches of 183 mm, to the nearest per cent, of the 180 mm between the margins
    for word in ("−30", "Zero"):
        expected = (drawn[word] - drawn["Loading"]) * width
        assert printed[word] - printed["Loading"] == pytest.approx(expected, abs=0.75)
    assert "Zero & <b>" in poppler("pdftotext", "-layout", tmp_path / "page.pdf", "-")


@pytest.mark.parametrize("words", ["first fix", "a--b", "e\u0301", "\u05e9\u05dc\u05d5\u05dd"])
def test_ligatures_and_letters_of_other_order_stay_drawn(words, monkeypatch):
    """In DejaVu Sans "fi" is one outline for two letters; two hyphens are no comment of XML; accents and Hebrew."""
    picture = _picture(_figure((words, 0), ("plain", 90)), monkeypatch)
    assert re.findall(r"<text[^>]*>([^<]*)</text>", picture) == ["plain"]
    assert "rotate(-90) scale(0.075)" in picture


def test_without_the_font_pages_stay_as_they_are(monkeypatch):
    monkeypatch.setattr(lettering, "_has_font", lambda: False)
    html = _figure(("plain", 0)).html()
    assert lettering.set_lettering(html) == html
