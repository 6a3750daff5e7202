"""Which numbers of a page's sentences lead to a row of a table, and which may stand without one."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

from analysis_lib.reports import notebook_page
from analysis_lib.reports.exhibit import FigureExhibit
from analysis_lib.reports.number_links import link_numbers, numbers_of

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
SAID = re.compile(r'<p class="said">(.*?)</p>', re.DOTALL)
LINK = re.compile(r'<a class="row" href="#([^"]+)">.*?</a>', re.DOTALL)

NO_ROW = {
    "a level or a rule that is declared": r"(9[05] % interval|once in 20|[Aa]n effect as large as [\d.]+|0\.05 divided"
    r"|by as much as [\d.]+|by at least [\d.]+"
    r"|smallest effect that matters \d+|Only \d+ whole turns were kept.*|\d+ bootstrap draws|\d+ draws of"
    r"|360 one-degree bins|A whole turn is kept.*|inertia to \d+ %, mount angle to \d+°"
    r"|crank inertial load of.*?per rpm)",
    "a refusal's own words": r"(cannot be written|not known in [^:]*): .*",
    "part of an outcome's name": r"\(\d+ to \d+\)",
    "part of an intensity's label": r"\(RPE \d+\)",
    "published, with its source": r"(\(Senn 2002, ch\. 3\)|ch\. \d+|Rao 1951|& Holmes 2002|Roger 1997|Senn 2016"
    r"|at 260 rpm, Dorel 2005"
    r"|\d{4}[a-z]?[;,)]|about 310 to 460 W|Held against published changes.*)",
    "a count of rows or parts of a table": r"(\d+ of \d+ (riders|(listed )?trials)|in \d+ the speed"
    r"|root mean square over \d+ trials"
    r"|mean over \d+ riders|\d+ sequence means|\d+ trials? (were|was)|\d+ (are )?listed.*"
    r"|\d+ riders (were|analysed).*|\d+ trials planned"
    r"|crossover of \d+ rings|\d+ intensities|Periods with a trial: \d+ round, \d+ oval"
    r"|\d+ periods?|All \d+ analyses|has \d+; intervals count|got \d+ round-ring trials.*)",
    "a sum, ratio or bound of numbers that have rows": r"(keeps [+−]?[\d.]+ .*?any one of them\)"
    r"|by [\d.]+ % \(at|and [\d.]+ % \(at"
    r"|more than 99 % of draws|between [\d.]+ and|indoor–road term of −?[\d.]+°)",
}
"""Numbers that may stand without a link to a row, and why."""


def links_of(text: str) -> list[str]:
    """Return the rows that the page's numbers lead to."""
    return LINK.findall(text)


def sentences_without_rows(text: str) -> list[str]:
    """Return what is left of each sentence that holds a number without a row and without a reason."""
    bare = [unescape(LINK.sub("", sentence)) for sentence in SAID.findall(text)]
    left = [re.sub("|".join(NO_ROW.values()), "", sentence, flags=re.DOTALL) for sentence in bare]
    return [sentence for sentence in left if numbers_of(sentence)]


def page_of(template: str, monkeypatch, **known: object) -> str:
    """Run a template's cells in this process and return the page's body with its links.

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
    return link_numbers("\n".join(shown))


def _html(exhibit) -> str:
    if hasattr(exhibit, "_repr_mimebundle_"):
        return exhibit._repr_mimebundle_()["text/html"]
    return exhibit.data
