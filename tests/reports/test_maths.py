"""Formulas are drawn into the page and read aloud in words; a dollar sign of a study stays a dollar sign."""

import base64
import re
from xml.etree import ElementTree

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.pages.maths import FORMULA, Formulas, formula_picture, spoken
from analysis_lib.reports.pages.pages import notebook_body

IMAGE = re.compile(
    r'<img class="formula[^"]*" alt="([^"]*)" style="[^"]*" src="data:image/svg\+xml;base64,([^"]+)"'
)


def _body(folder, *cells):
    path = folder / "n.ipynb"
    path.write_text(nbformat.writes(new_notebook(cells=list(cells))))
    return notebook_body(path)


def test_a_formula_becomes_a_picture_that_needs_nothing_from_outside(tmp_path):
    html = _body(tmp_path, new_markdown_cell("With $G = h/r$ and\n\n$$\\frac{a}{b} < 1$$\n\nthe end."))
    pictures = IMAGE.findall(html)
    assert [alt for alt, _ in pictures] == ["G equals h over r", "a over b is less than 1"]
    for _, source in pictures:
        svg = ElementTree.fromstring(base64.b64decode(source))
        assert svg.tag.endswith("svg")
        assert not [
            node
            for node in svg.iter()
            if any("href" in name and not to.startswith("#") for name, to in node.attrib.items())
        ]
    assert "$" not in html and "stands-here" not in html


@pytest.mark.parametrize(
    ("tex", "words"),
    [
        (r"\overline{T}\,\overline{\omega}", "mean of T times mean of omega"),
        (r"\overline{T\,\omega}", "mean of (T times omega)"),
        (
            r"\hat\delta = \frac{1}{S}\,\sum_{s=1}^{S} \overline{d}_s,",
            "delta hat equals 1 over S times the sum (s equals 1) to S of mean of d sub s,",
        ),
        (r"\overline{y}_{i,\mathrm{oval}} - n", "mean of y sub (i, oval) minus n"),
        (r"u_i + \varepsilon_{ir}", "u sub i plus epsilon sub (i r)"),
    ],
)
def test_a_formula_is_read_in_words(tex, words):
    assert spoken(tex) == words


def test_no_formula_of_a_notebook_is_read_with_backslashes_or_braces():
    for path in notebooks_folder().glob("*.ipynb"):
        cells = nbformat.read(path, as_version=4).cells
        found = FORMULA.finditer("\n".join(cell.source for cell in cells if cell.cell_type == "markdown"))
        for formula in found:
            assert not re.search(r"[\\{}^$]", spoken(formula["block"] or formula["line"])), formula[0]


def test_dollars_that_are_money_stay_money(tmp_path):
    said = "A ring for $90, a chain for $40."
    output = new_output("display_data", data={"text/html": f"<p>{said} $x$</p>"})
    html = _body(tmp_path, new_markdown_cell(said), new_code_cell("1", outputs=[output]))
    assert html.count(said) == 2
    assert "$x$" in html
    assert not IMAGE.search(html)


@pytest.mark.parametrize("words", ["it costs 5$ or 6$", "US$5 or US$6", r"\$a\$", "$ a $", "a $b\nc$ d"])
def test_what_is_no_formula_is_left_alone(words):
    assert Formulas().take_out(words) == words


def test_the_same_formula_gives_the_same_bytes():
    first = formula_picture(r"\bar T\,\bar\omega")
    formula_picture.cache_clear()
    assert formula_picture(r"\bar T\,\bar\omega") == first


def test_a_formula_stands_on_the_line_of_its_words():
    # "x" has no part below the line, "p" has: only the second is let down.
    down = [
        float(re.search(r"vertical-align:(-?[\d.]+)em", formula_picture(tex))[1])
        for tex in ("x", "p", r"\frac{1}{2}")
    ]
    assert 0 >= down[0] > -0.13 > down[1] > down[2]


def test_tex_that_cannot_be_drawn_is_refused():
    with pytest.raises(Refusal, match="mend the formula"):
        formula_picture(r"\frac{1}{")


def test_every_formula_of_the_notebooks_can_be_drawn():
    formulas = Formulas()
    for path in sorted(notebooks_folder().glob("*.ipynb")):
        for cell in nbformat.read(path, as_version=4).cells:
            if cell.cell_type == "markdown":
                assert "$" not in formulas.take_out(cell.source), path.name
    assert len(formulas.pictures) >= 6
