"""Words of a study stay words: on pages, in figures, in tables that a spreadsheet opens, and as parameters of notebooks."""

import ast
import csv
import re
from html.parser import HTMLParser
from urllib.parse import unquote, urlsplit

import nbformat
import pandas as pd
import pytest
from fabricated import fabricate
from papermill.parameterize import parameterize_notebook

from analysis_lib.reports.execution.notebook_run import NotebookFailure
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.notebook_page import NotebookPage
from analysis_lib.reports.exhibits.numbers import write_csv
from analysis_lib.reports.figures.style import in_house_style, new_figure
from analysis_lib.reports.pages.pages import IndexEntry, failure_body, index_body, studies_body, write_page
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.study.effect_exhibits import effect_exhibit
from analysis_lib.study.synthetic.synthetic import small_study

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style></title></p></td><iframe src=//x>",
    "javascript:alert(1)",
    r"$\frac{1}{$",
    "$a$ and $$b$$",
    "{{ 7 * 7 }}{% raw %}",
    "=HYPERLINK(1)",
    "formula-000-stands-here",
    "&lt;b&gt; &#60;b&#62;",
    "''' + __import__('os').abort() + '''",
)
HARMLESS = {
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "a",
    "header",
    "p",
    "span",
    "h1",
    "h2",
    "h3",
    "h4",
    "nav",
}
HARMLESS |= {
    "ol",
    "ul",
    "li",
    "main",
    "footer",
    "div",
    "dl",
    "dt",
    "dd",
    "pre",
    "code",
    "strong",
    "em",
    "table",
    "br",
}
HARMLESS |= {
    "caption",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "figure",
    "figcaption",
    "img",
    "section",
    "details",
    "summary",
}


class _Elements(HTMLParser):
    """Collects what a browser would make of a page: elements, attributes and the words between them."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.words = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data):
        self.words.append(data)


def assert_harmless(html):
    """Nothing in it runs, loads from elsewhere or leads to a script."""
    found = _Elements(html)
    assert set(found.tags) <= HARMLESS
    for name, value in found.attributes:
        assert not name.startswith("on") and name not in {"srcdoc", "formaction"}
        if name in {"src", "href"}:
            assert not value.startswith(("javascript:", "//", "http"))
    return " ".join(found.words)


@in_house_style
def _figure(words):
    figure, (axes,) = new_figure()
    axes.plot([0, 1], [0, 1], label=words)
    axes.set_xlabel(words)
    axes.set_title(words)
    axes.set_xticks([0, 1], [words, "b"])
    axes.text(0.5, 0.5, words)
    axes.legend()
    return figure


@pytest.mark.parametrize("words", HOSTILE)
def test_exhibits_show_words_as_they_are(words, tmp_path):
    frame = pd.DataFrame({"rider": [words], words: [words], "x": [1.5]})
    table = TableExhibit("t", frame, words, {"x": words})
    assert words in assert_harmless(table.html())
    figure = FigureExhibit("f", _figure(words), words, words, frame)
    html = figure.html()
    assert words in assert_harmless(html)
    assert ("alt", words) in _Elements(html).attributes
    figure.save(tmp_path)
    table.save(tmp_path)
    svg = (tmp_path / "f.svg").read_text(encoding="utf-8")
    assert (
        "<script" not in svg and "<iframe" not in svg and "onerror=alert(1)>" not in svg.replace("&gt;", "")
    )


@pytest.mark.parametrize("words", HOSTILE)
def test_pages_show_words_as_they_are(words, tmp_path, monkeypatch):
    monkeypatch.setattr("analysis_lib.reports.pages.pages.why_no_pdf", lambda: "not here")
    failure = NotebookFailure("03_rider_report", words, "ValueError", words, words)
    bodies = [
        index_body(words, [words], [IndexEntry(words, "riders/R01.html", words)], [words]),
        failure_body(words, failure, [words]),
    ]
    for body in bodies:
        write_page(tmp_path / "page.html", words, body, words)
        said = assert_harmless((tmp_path / "page.html").read_text(encoding="utf-8"))
        assert said.count(words) >= 4


@pytest.mark.parametrize("words", HOSTILE)
def test_what_a_notebook_says_is_shown_and_not_run(words, monkeypatch):
    shown = []
    monkeypatch.setattr(
        "analysis_lib.reports.exhibits.notebook_page.display", lambda part: shown.append(part.data)
    )
    NotebookPage(None, "study").say(words, tone="caution")
    assert words in assert_harmless(shown[0])


@pytest.fixture(scope="module")
def effect(tmp_path_factory):
    """The primary outcome of a study and its effect."""
    analysis = fabricate(tmp_path_factory.mktemp("hostile") / "study", riders=4)
    return analysis.outcomes[0], analysis.effect(analysis.outcomes[0])


@pytest.mark.parametrize("words", HOSTILE)
def test_a_study_whose_labels_are_hostile_has_its_figures(words, effect):
    outcome, found = effect
    exhibit = effect_exhibit(outcome.model_copy(update={"label": words, "unit": words}), found)
    assert words in assert_harmless(exhibit.html())
    assert exhibit.svg().startswith(b"<?xml") and exhibit.png()


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝"])
def test_no_cell_and_no_heading_of_a_table_is_a_formula(start, tmp_path):
    words = start + "cmd|' /C calc'!A0"
    write_csv(tmp_path / "t.csv", pd.DataFrame({"rider": pd.Categorical([words]), words: ["x"], "n": [-1.5]}))
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        heading, row = csv.reader(file)
    words = words.replace(
        "\r", "\n"
    )  # a return within a cell would begin a row, whose first cell is a formula
    assert heading == ["rider", "'" + words, "n"]
    assert row == ["'" + words, "x", "-1.5"]


@pytest.mark.parametrize(
    ("words", "written"),
    [
        ("x;=cmd|' /C calc'!A0", "x;'=cmd|' /C calc'!A0"),
        ("x; \t@SUM(A1)", "x; \t'@SUM(A1)"),
        ("x\n=1+1", "x\n'=1+1"),
        ("hot; 3 - 1 = 2", "hot; 3 - 1 = 2"),
    ],
)
def test_no_part_of_a_cell_is_a_formula_where_cells_are_parted_by_semicolons(words, written, tmp_path):
    write_csv(tmp_path / "t.csv", pd.DataFrame({"note": [words]}))
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file))[1] == [written]


@pytest.mark.parametrize("name", ["javascript:alert(1)", "a#b", "a?b", "50% off", "a b"])
def test_a_folders_name_is_a_place_and_no_script(name, tmp_path, monkeypatch):
    """A link's name before a colon would be its scheme; # and ? would end the path."""
    monkeypatch.setattr("analysis_lib.reports.pages.pages.why_no_pdf", lambda: "not here")
    body = studies_body([IndexEntry(name, f"{name}/index.html", "made")])
    write_page(tmp_path / "index.html", "Studies", body, "Studies")
    links = [
        value for key, value in _Elements((tmp_path / "index.html").read_text()).attributes if key == "href"
    ]
    (link,) = [link for link in links if "index.html" in link]
    assert urlsplit(link).scheme == ""
    assert unquote(urlsplit(link).path) == f"{name}/index.html"


def test_a_page_lets_a_browser_run_and_load_nothing(tmp_path, monkeypatch):
    """Content Security Policy (W3C): pictures from the page itself and its own style, nothing else."""
    monkeypatch.setattr("analysis_lib.reports.pages.pages.why_no_pdf", lambda: "not here")
    write_page(tmp_path / "page.html", "t", "<p>x</p>", "s")
    text = (tmp_path / "page.html").read_text()
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', text)
    assert policy.startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline';")


@pytest.mark.parametrize("words", [*HOSTILE, 'a"\n__import__("os").abort()\n"', "\\", '\\"', "\u2028x"])
def test_a_parameter_reaches_the_notebook_as_text_alone(words):
    """What stands in the injected cell is one assignment of one literal, and its value is the text."""
    source = nbformat.v4.new_code_cell("rider = ''", metadata={"tags": ["parameters"]})
    notebook = nbformat.v4.new_notebook(
        cells=[source],
        metadata={
            "kernelspec": {"name": "python3", "language": "python", "display_name": "p"},
            "papermill": {},
        },
    )
    made = parameterize_notebook(notebook, {"rider": words})
    (cell,) = [cell for cell in made.cells if "injected-parameters" in cell.metadata.get("tags", [])]
    (assignment,) = ast.parse(cell.source).body
    assert isinstance(assignment, ast.Assign)
    assert ast.literal_eval(assignment.value) == words


@pytest.mark.long
def test_a_whole_report_of_a_hostile_study_is_harmless(tmp_path):
    """Study, question, labels, units and free text of every table are hostile; names and ids cannot be."""
    study = tmp_path / "study"
    small_study(study, riders=2, duration_s=8.0)
    words = " ".join(HOSTILE[:7]).replace("\\", "\\\\").replace('"', '\\"')
    lines = (study / "study.toml").read_text(encoding="utf-8").splitlines()
    for place, line in enumerate(lines):
        key = line.partition("=")[0].strip()
        if key in {"label", "question"} or (key == "name" and "Small study" in line):
            lines[place] = f'{key} = "{words} {place}"'  # labels of intensities are told apart
    (study / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    trials = pd.read_csv(study / "trials.csv", dtype=str, keep_default_na=False)
    trials["environment"] = HOSTILE[1]
    trials.loc[0, ["exclude", "exclude_reason"]] = ["yes", HOSTILE[0]]
    trials[HOSTILE[3]] = HOSTILE[2]
    trials.to_csv(study / "trials.csv", index=False)
    zero_checks = pd.read_csv(study / "zero_checks.csv", dtype=str, keep_default_na=False)
    zero_checks.assign(note=HOSTILE[0]).to_csv(study / "zero_checks.csv", index=False)
    report = make_report(study, tmp_path / "report", jobs=2, say=lambda line: None)
    assert all(page.made for page in report.pages)
    for page in (tmp_path / "report").rglob("*.html"):
        assert_harmless(page.read_text(encoding="utf-8"))
    for picture in (tmp_path / "report").rglob("*.svg"):
        assert "<script" not in picture.read_text(encoding="utf-8")
