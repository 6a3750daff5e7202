"""Which numbers of a page's sentences lead to a row of a table, and which may stand without one."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from html import unescape
from pathlib import Path

from analysis_lib.reports.exhibits import notebook_page
from analysis_lib.reports.exhibits.bound_words import NO_BREAK
from analysis_lib.reports.exhibits.exhibit import FigureExhibit
from analysis_lib.reports.exhibits.number_links import link_numbers, numbers_of
from analysis_lib.study.declared.settings import FILE, read_settings

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
SAID = re.compile(r'<p class="said">(.*?)</p>', re.DOTALL)
FIRST_PAGE = re.compile(r'<div class="answer">\n((?:<p>.*?</p>\n?)+)</div>', re.DOTALL)
LINK = re.compile(r'<a class="row" href="[^"#]*#([^"]+)">.*?</a>', re.DOTALL)

NO_ROW = {
    "a level in other words, a checksum, or what is taken where study.toml does not say": r"(once in 20"
    r"|checksum begins with [0-9a-f]+|inertia to \d+ %|(mount angle|angle zero) to \d+°"
    r"|crank inertial load of.*?per rpm|0\.05 divided)",
    "a refusal's own words (it says why there is no table)": r"(Not used – .*? – got .*"
    r"|(cannot be (written|made)|could not be tested|not known in [^:]*): .*)",
    "published, with its source (a citation is a name)": r"(\(Senn 2002, ch\. 3\)|ch\. \d+|Rao 1951|& Holmes 2002"
    r"|Roger 1997|Senn 2016|at 260 rpm, Dorel 2005|\d{4}[a-z]?[;,)]|Biomechanics \d{4}, \d+:\d+|\d{4} \(|power at 1\.\d+"
    r"|five looks in 14 %|J R Stat Soc A \d+:\d+"
    r"|about 310 to 460 W)",
    "a count of a table's rows (it stands in none of them)": r"((\d+ )?of \d+ (riders|(listed )?trials?)|in \d+ the speed"
    r"|root mean square over \d+ trials|\d+ of \d+ whole turns were dropped \([^)]*\)"
    r"|mean over \d+ riders|\d+ sequence means|\d+ trials? (were|was)|\d+ (are )?listed.*"
    r"|\d+ riders (were|analysed).*|\d+ trials planned"
    r"|crossover of \d+ rings|\d+ intensities|Periods with a trial: \d+ round, \d+ oval"
    r"|\d+ periods?|period \d+|\d+ deviations|All \d+ analyses|has \d+; intervals rest|got \d+ round-ring trials.*)",
    "a difference, sum or bound of numbers that have rows": r"(by [\d.]+ % \(at|and [\d.]+ % \(at"
    r"|more than 99 % of draws|indoor–road term of −?[\d.]+°|wanted mount is off by [\d.]+°)",
}
"""Numbers that may stand without a link to a row, and why there is none."""


def with_plain_blanks(text: str) -> str:
    """Return a page's text as it is searched: a blank that no line breaks at is a blank."""
    return text.replace(NO_BREAK, " ")


def links_of(text: str) -> list[str]:
    """Return the rows that the page's numbers lead to."""
    return LINK.findall(text)


def names_with_numbers(study: Path) -> list[str]:
    """Return the labels of a study that hold a number, such as "Easy (RPE 11)": a name is no number of a table."""
    settings = read_settings(study / FILE)
    labels = [*settings.intensity_labels.values(), *(outcome.label for outcome in settings.outcomes)]
    return [label for label in labels if numbers_of(label)]


def sentences_without_rows(text: str, names: Iterable[str] = ()) -> list[str]:
    """Return what is left of each sentence that holds a number without a row and without a reason, `names` apart."""
    text = with_plain_blanks(text)
    bare = [unescape(LINK.sub("", sentence)) for sentence in [*SAID.findall(text), *_answers(text)]]
    for name in names:
        bare = [sentence.replace(name, "") for sentence in bare]
    left = [re.sub("|".join(NO_ROW.values()), "", sentence, flags=re.DOTALL) for sentence in bare]
    return [sentence for sentence in left if numbers_of(sentence)]


def _answers(text: str) -> list[str]:
    """The answers that a first page repeats: of a report in paragraphs, of several studies in cells."""
    paragraphs = re.findall("<p>(.*?)</p>", "".join(FIRST_PAGE.findall(text)), re.DOTALL)
    cells = re.findall(r'<td class="sentence">(.*?)</td>', text, re.DOTALL)
    return [*paragraphs, *(cells if 'id="caption-studies"' in text else [])]


def page_of(template: str, monkeypatch, **known: object) -> str:
    """Run a template's cells in this process and return the page's body with its links, and with plain blanks.

    `known` are names that the cells' own assignments must not change, such as an analysis made before.
    """
    shown: list[str] = []
    monkeypatch.setattr(notebook_page, "display", lambda exhibit: shown.append(_html(exhibit)))
    monkeypatch.setattr(
        FigureExhibit, "svg", lambda _: b""
    )  # drawing takes longer than all else, and says no number
    names: dict[str, object] = {}
    for cell in json.loads((NOTEBOOKS / template).read_text(encoding="utf-8"))["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            shown += [f"<h2>{line}</h2>" for line in source.splitlines() if line.startswith("## ")]
        else:
            lines = [line for line in source.splitlines() if line.split(" = ")[0] not in known]
            names |= known
            exec("\n".join(lines), names)
    return with_plain_blanks(link_numbers("\n".join(shown)))


def _html(exhibit) -> str:
    if hasattr(exhibit, "_repr_mimebundle_"):
        return exhibit._repr_mimebundle_()["text/html"]
    return exhibit.data
