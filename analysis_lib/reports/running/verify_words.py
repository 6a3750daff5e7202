"""What a comparison of reports says in the terminal: each difference on a line of its own, before all that agrees."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import PurePosixPath

from analysis_lib.reports.record.record_check import PARTED, Check
from analysis_lib.study.checks.alike import FEWEST_TO_GROUP, MOST_NAMED

OF_FOLDER = {"tables": "tables", "figures": "figures", "notebooks": "executed notebooks"}
OF_SUFFIX = {".html": "pages", ".pdf": "pages"}
FILES_OF_PAGE = "files of "
EACH = "What agrees is counted by kind; with --all each thing compared has a line of its own."
_COUNTED = re.compile(r"(\d+) (.*)")

Row = tuple[str, str, str]


def table_of(checks: Sequence[Check], everything: bool = False) -> list[str]:
    """Return the table of a comparison, one line a row: what, finding, details.

    Differences come first, then what could not be checked, then what agrees. Of what is alike in kind and finding there is
    one row with the number; every difference has its own.

    Parameters
    ----------
    checks : sequence of Check
    everything : bool
        Give each thing compared a row of its own, in the order in which they were compared.
    """
    rows: list[Row] = [(check.what, check.finding, check.details) for check in checks]
    if not everything:
        by_finding = {
            finding: [check for check in checks if check.finding == finding]
            for finding in ("differs", "not checked", "agrees")
        }
        rows = [(check.what, check.finding, _shortened(check.details)) for check in by_finding["differs"]]
        rows += _counted(by_finding["not checked"]) + _counted(by_finding["agrees"])
    width = max((len(what) for what, _, _ in rows), default=0)
    return [f"{what:<{width}}  {finding:<11}  {details}".rstrip() for what, finding, details in rows]


def last_line(checks: Sequence[Check]) -> str:
    """Return the number of each finding.

    >>> last_line([Check("a", "agrees"), Check("b", "agrees"), Check("c", "differs", "by 1")])
    '1 differs, 0 not checked, 2 agree'
    """
    count = Counter(check.finding for check in checks)
    differ, agree = (
        f"{count[finding]} {finding if count[finding] == 1 else finding[:-1]}"
        for finding in ("differs", "agrees")
    )
    return f"{differ}, {count['not checked']} not checked, {agree}"


def _counted(checks: Sequence[Check]) -> list[Row]:
    """One row for those of a kind, where they are not few; the kinds keep their order."""
    kinds: dict[str, list[Check]] = {}
    for check in checks:
        kinds.setdefault(_kind_of(check.what), []).append(check)
    rows: list[Row] = []
    for kind, here in kinds.items():
        if len(here) < FEWEST_TO_GROUP:
            rows += [(check.what, check.finding, check.details) for check in here]
        else:
            rows.append((f"{len(here)} {kind}", here[0].finding, _summed(check.details for check in here)))
    return rows


def _shortened(details: str) -> str:
    """Return the first of many differences, with the number of the others."""
    parts = details.split(PARTED)
    more = len(parts) - MOST_NAMED
    return PARTED.join([*parts[:MOST_NAMED], f"and {more} more"]) if more > 1 else details


def _kind_of(what: str) -> str:
    """Name the kind of thing compared: the files of a page by its record, a file by its folder or suffix, else itself."""
    if what.startswith(FILES_OF_PAGE):
        return "pages by their records"
    path = PurePosixPath(what)
    return OF_FOLDER.get(path.parts[0] if len(path.parts) > 1 else "", OF_SUFFIX.get(path.suffix, what))


def _summed(details: Iterable[str]) -> str:
    """Say how often each detail was found, adding up the numbers with which details begin.

    >>> _summed(["byte for byte", "within the tolerances", "byte for byte"]), _summed(["52 files", "50 files"])
    ('2 byte for byte, 1 within the tolerances', '102 files')
    """
    count: Counter[str] = Counter()
    for words in details:
        found = _COUNTED.fullmatch(words)
        count[found[2] if found else words] += int(found[1]) if found else 1
    return ", ".join(f"{number} {words}" for words, number in count.items())
