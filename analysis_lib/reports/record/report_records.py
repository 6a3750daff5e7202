"""What a report folder says of itself: the record of its run, that of each page, and the research object.

All of it can be a stranger's, and of a thousand riders; so it is checked while it is read, and read one page, or one
entity, after another.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_records import FORMAT, UNFINISHED_RUN, record_name
from analysis_lib.reports.record.crate_reading import entities_of
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.tables.named_folder import check_folder

Kind = type[Any]

NAMED = 5
"""Pages that a report lacks and that are named, so that the others of a large study fill no screen."""
GO_ON = "give the command that made it again: it goes on from there"

RUN: dict[str, Kind] = {"inputs": dict, "packages": dict, "states": dict, "version": str, "git": str}
RUN_FILE = "run.json"
PAGE: dict[str, Kind] = {"key": str, "page": dict, "files": dict}
"""What is needed of the record of a run and of a page."""


@dataclass(frozen=True)
class ReportRecords:
    """The records of a report folder: that of the run, and the subjects of which a page is on record.

    ``stopped`` says which pages a run that did not reach its end has left out; it is empty after one that did.
    """

    report: Path
    run: dict[str, Any]
    subjects: tuple[str, ...]
    has_crate: bool
    stopped: str = ""

    def pages(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Go through the records of the pages, one in memory at a time."""
        return ((subject, self.page(subject)) for subject in self.subjects)

    def page(self, subject: str) -> dict[str, Any]:
        """Return what is on record of one page."""
        return _read_page(self.report, self.report / "keys" / record_name(subject))[1]

    def crate(self, short: bool = False) -> Iterator[Any]:
        """Go through the entities of the research object, with references as names alone where they are to be `short`.

        Raises
        ------
        Refusal
            When it is none.
        """
        path = self.report / CRATE
        _check_readable(self.report, path)
        try:
            yield from entities_of(path, short)
        except (ValueError, RecursionError) as error:
            raise _broken(path, str(error).splitlines()[0]) from error

    def crate_files(self) -> Iterator[tuple[str, str]]:
        """Go through name and SHA-256 of the report's own files in the research object; an input has no relative name."""
        for entity in self.crate(short=True):
            try:
                if entity["@type"] == "File" and ":" not in entity["@id"]:
                    yield unquote(entity["@id"]), str(entity["sha256"])
            except (KeyError, TypeError, AttributeError) as error:
                raise _broken(self.report / CRATE, f"an entity without {error}") from error


def read_records(report: Path) -> ReportRecords:
    """Read the records of a report folder.

    Raises
    ------
    Refusal
        When there is no such folder, or it holds no record of a run, one that cannot be read, or those of a newer version.
    """
    wanted, remedy = "a report folder made by roundoval", "name the folder of a report"
    check_folder(report, RUN_FILE, wanted, remedy)
    paths = [path for path in sorted((report / "keys").glob("*.json")) if path.name != "format.json"]
    if not (report / RUN_FILE).is_file():
        if stopped := _said_of_stopped(report, [path.stem for path in paths]):
            raise Refusal(str(report), f"a run {stopped}", "the report of a run that reached its end", GO_ON)
        raise Refusal(str(report), f"no {RUN_FILE}", wanted, remedy)
    run = read_record(report, report / RUN_FILE, RUN)
    _check_format(report, run["version"])
    subjects = tuple(_read_page(report, path)[0] for path in paths)
    stopped = _said_of_stopped(report, [path.stem for path in paths])
    return ReportRecords(report, run, subjects, (report / CRATE).is_file(), stopped)


def _said_of_stopped(report: Path, on_record: Collection[str]) -> str:
    """Say of a run that did not reach its end which of its pages are not on record; empty of any other."""
    path = report / UNFINISHED_RUN
    if not path.is_file() or not is_inside(report, path):
        return ""
    planned = path.read_text(encoding="utf-8", errors="replace").splitlines()
    missing = [subject for subject in planned if Path(record_name(subject)).stem not in on_record]
    some = ", ".join(missing[:NAMED]) + (", …" if len(missing) > NAMED else "")
    if not missing:
        return "that was stopped before its end, with every page on record and not the run as a whole"
    return f"that was stopped before its end, with no page yet of {len(missing)} of {len(planned)}: {some}"


def _check_format(report: Path, version: str) -> None:
    """Refuse a report whose layout is not known here: what would be said of it could be wrong."""
    made = read_record(report, report / "keys" / "format.json", {"format": int})["format"]
    if made > FORMAT:
        got = f"format {made}, by roundoval {version}"
        raise Refusal("report folder", got, f"format {FORMAT} or older", "verify it with that version")


def _read_page(report: Path, path: Path) -> tuple[str, dict[str, Any]]:
    """Read the record of one page, which stands under the name of its subject, so that no second one hides it."""
    content = read_record(report, path, PAGE)
    subject = content["page"].get("subject", "")
    if not isinstance(subject, str) or record_name(subject) != path.name:
        raise _broken(path, f"a record of {str(subject)!r}")
    return subject, content


def read_record(report: Path, path: Path, wanted: Mapping[str, Kind]) -> dict[str, Any]:
    """Read a record. It can be a stranger's: a link out of the folder, a pipe, or of any content."""
    _check_readable(report, path)
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError) as error:
        raise _broken(path, str(error).splitlines()[0]) from error
    if not isinstance(content, dict):
        raise _broken(path, "no record")
    wrong = [name for name, kind in wanted.items() if not _is(content.get(name), kind)]
    if wrong:
        raise _broken(path, f"no {', '.join(wrong)}")
    return content


def _check_readable(report: Path, path: Path) -> None:
    if not path.is_file() or not is_inside(report, path):
        raise _broken(path, "no file of the report")


def _is(value: object, kind: Kind) -> bool:
    """Whether a value is of a kind; a dict is one of words."""
    return isinstance(value, kind) and (
        kind is not dict or all(isinstance(word, str) for word in value.values())
    )


def _broken(path: Path, got: str) -> Refusal:
    return Refusal(path.name, got, "the record as roundoval wrote it", "ask for the report again")
