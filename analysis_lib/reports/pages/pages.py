"""Self-contained pages, as HTML and on paper: no script, no outside address, alternative text on every figure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, partial
from html import escape, unescape
from pathlib import Path

from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from analysis_lib import __version__
from analysis_lib.reports.execution.notebook_run import NotebookFailure
from analysis_lib.reports.exhibits.bound_words import bind_outside_code
from analysis_lib.reports.exhibits.number_links import link_numbers, links_from_elsewhere
from analysis_lib.reports.files.canonical import plain_text, without_places
from analysis_lib.reports.files.notebook_file import load_nbformat, read_notebook
from analysis_lib.reports.files.pdf_page import why_no_pdf, write_pdf
from analysis_lib.reports.files.run_record import sha256_of
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.reports.pages.maths import Formulas

HEADING = re.compile(r'<h2(?: id="([^"]+)")?>(.*?)</h2>', re.DOTALL)
TITLE = re.compile(r"<h1[^>]*>.*?</h1>", re.DOTALL)
TABLE_END = re.compile(
    r'<table class="exhibit[^"]*" id="table-([^"]+)">(?:(?!</table>).)*</table></div>', re.DOTALL
)
TAG = re.compile(r"<[^>]+>")


@dataclass(frozen=True)
class Heading:
    """A second-level heading of a page, for its contents list."""

    anchor: str
    text: str


@dataclass(frozen=True)
class IndexEntry:
    """A line of the report's first page."""

    name: str
    page: str
    state: str
    notebook: str = ""
    answer: tuple[str, ...] = ()


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("analysis_lib.reports.pages"), autoescape=True, keep_trailing_newline=True
    )


def write_page(
    path: Path,
    title: str,
    body: str,
    study_name: str,
    home: str = "",
    notice: str = "",
    printed: str = "",
) -> None:
    """Write one page around `body` (trusted HTML), and its PDF beside it where one can be made.

    `title`, `study_name` and `notice`, which stands below the title, are escaped. Where the page comes out with the SHA-256
    `printed`, its PDF is there already.
    """
    body, headings = _anchor_headings(body)
    css = _templates().loader.get_source(_templates(), "page.css")[0]  # type: ignore[union-attr]
    page = _templates().get_template("page.html.j2")
    text = page.render(
        title=title,
        body=body,
        study_name=study_name,
        home=home,
        notice=notice,
        paper="" if why_no_pdf() else path.with_suffix(".pdf").name,
        css=css,
        headings=headings,
        footer=(
            f"Made by roundoval {__version__} from the study folder; run.json beside the report names every"
            " input. Pages inform trained staff; they are no medical advice."
        ),
    )
    write_text_whole(path, text)
    if not why_no_pdf() and sha256_of(path) != printed:
        write_pdf(path, path.with_suffix(".pdf"))


def _anchor_headings(body: str) -> tuple[str, list[Heading]]:
    """Give every second-level heading an anchor, and list them for the contents."""
    headings: list[Heading] = []

    def anchored(match: re.Match[str]) -> str:
        text = unescape(TAG.sub("", match[2]))
        anchor = match[1] or "-".join(re.findall(r"[a-z0-9]+", text.lower()))
        headings.append(Heading(anchor, text))
        return f'<h2 id="{escape(anchor)}">{match[2]}</h2>'

    return HEADING.sub(anchored, body), headings


def notebook_body(notebook: Path, tables: str = "") -> str:
    """Return the executed notebook as HTML without code, its title left to the page.

    Every table is followed by a link to its unrounded values in the folder `tables`, named as the page sees it. The code
    stays in the executed notebook, which the first page of the report links.
    """
    load_nbformat()
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(template_name="basic", exclude_input=True, exclude_anchor_links=True)
    exporter.exclude_input_prompt = exporter.exclude_output_prompt = True
    executed, formulas = read_notebook(notebook), Formulas()
    for cell in executed.cells:
        if cell.cell_type == "markdown":
            cell.source = bind_outside_code(formulas.take_out(cell.source))
    body, _ = exporter.from_notebook_node(executed)
    body = link_numbers(TITLE.sub("", body, count=1))
    return formulas.put_back(TABLE_END.sub(partial(_with_source, tables), body) if tables else body)


def _with_source(tables: str, match: re.Match[str]) -> str:
    name = match[1]
    return f'{match[0]}<p class="source"><a href="{escape(tables)}/{name}.csv">{name}.csv</a>, unrounded</p>'


def failure_body(subject: str, failure: NotebookFailure | None, problems: Sequence[str] = ()) -> str:
    """Return the body of a page that says who, which notebook, under which heading, and why.

    What is said of each of several things stands in a list; a refusal has no trace, for its words are all there is to know.
    """
    facts = [("Rider or study", subject)]
    if failure is not None:
        problems = [*problems, *failure.each]
        facts += [
            ("Notebook", failure.notebook),
            ("Under the heading", failure.heading or "before the first heading"),
            ("Cause", failure.cause),
        ]
    template = _templates().get_template("failure.html.j2")
    trace = without_places(plain_text(failure.traceback)) if failure and not failure.refused else ""
    return template.render(subject=subject, facts=facts, problems=problems, traceback=trace)


def waiting_body(subject: str) -> str:
    """Return the body of the page of a rider of whom no trial is listed yet."""
    words = f"No trial of {subject} is listed in trials.csv yet."
    return f"<p><strong>{escape(words)}</strong> Run the report again once there is one.</p>\n"


def excluded_body(subject: str, reasons: Sequence[str]) -> str:
    """Return the body of the page of a rider of whom every listed trial is left out on purpose, with the reason of each."""
    words = f"Every listed trial of {subject} is excluded, so this page has no results."
    items = "".join(f"<li>{escape(reason)}</li>\n" for reason in reasons)
    return (
        f"<p><strong>{escape(words)}</strong> Nothing is to be mended where these reasons hold; the study's page counts the"
        f" trials among those set aside.</p>\n<ul>\n{items}</ul>\n"
    )


def linked_answer(page: Path, sentences: Sequence[str], address: str) -> list[str]:
    """Return the sentences of an answer, each number linked to its row on the `page` that gives it, at `address`."""
    there = links_from_elsewhere(page.read_text(encoding="utf-8"), address) if page.is_file() else {}
    return [Markup(there[sentence]) if sentence in there else sentence for sentence in sentences]


def index_body(
    question: str,
    answer: Sequence[str],
    entries: Sequence[IndexEntry],
    problems: Sequence[str],
    caution: str = "",
) -> str:
    """Return the body of the report's first page; without an answer its study's page was not made, or is out of date.

    `caution` names the pages that are out of date.
    """
    return (
        _templates()
        .get_template("index.html.j2")
        .render(question=question, answer=answer, entries=entries, problems=problems, caution=caution)
    )


def studies_body(entries: Sequence[IndexEntry]) -> str:
    """Return the body of the first page over several reports; a study without a report has no link."""
    return _templates().get_template("studies.html.j2").render(entries=entries)
