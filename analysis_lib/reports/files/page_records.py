"""What a report folder keeps on record of its pages: the key of each, its files by checksum, and what it was made from."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.run_record import checksum_if_there, sha256_of
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.study.declared.schema import is_inside

FOLDER = "keys"
OF_A_PAGE = {"subject", "name", "page", "notebook", "cause"}
"""What is on record of a page's state."""

UNFINISHED_RUN = f"{FOLDER}/unfinished_run.txt"
"""Below the report folder: the subjects of the run that is at work, or was stopped before its end, one a line."""

FORMAT = 1
"""Raised whenever the layout of a report folder changes, so that an older program never mends a newer report."""


WAITING = "waiting: no trials yet"
"""Stands in the place of a cause where no trial of a page's rider is listed: it is not made, and has not failed."""

EXCLUDED = "without results: every trial is excluded"
"""Likewise where each listed trial of a page's rider is left out beforehand or by a rule; lines of why follow."""

NEVER = "failed"
"""Recorded in place of a failed page's key, so that it equals none."""

OUT_OF_DATE = "out_of_date"
"""The field of a page's record that says why the page no longer follows from its study, where it does not."""

REMEDY = "run `roundoval report` without --rider"
"""What makes pages again that are out of date."""


def state_in_words(cause: str) -> str:
    """Return what a record says became of a page, by what kept it from being made.

    >>> state_in_words(""), state_in_words("no recording"), state_in_words(WAITING)
    ('made', 'failed: no recording', 'waiting: no trials yet')
    """
    if cause == WAITING or is_excluded(cause):
        return cause
    return f"failed: {cause}" if cause else "made"


def state_on_record(record: Mapping[str, Any]) -> str:
    """Return what became of a page by its record, or why it is out of date."""
    return str(record.get(OUT_OF_DATE) or state_in_words(str(record["page"].get("cause") or "")))


def is_excluded(cause: str) -> bool:
    """Whether a page holds no results because every trial of its rider was left out on purpose.

    >>> is_excluded(f"{EXCLUDED}\\nT1: excluded: chain dropped"), is_excluded("no recording")
    (True, False)
    """
    return cause.partition("\n")[0] == EXCLUDED


def record_name(subject: str) -> str:
    """Return the name of the file that keeps what is on record of a page.

    >>> record_name("the study")
    'the_study.json'
    """
    return f"{subject.replace(' ', '_')}.json"


@dataclass(frozen=True)
class PageKeys:
    """The keys of a report folder, one small file a page."""

    report: Path

    def open(self) -> None:
        """Make the folder of keys.

        Raises
        ------
        Refusal
            A report made by a newer version, or a folder that holds something else.
        """
        mark = self.report / FOLDER / "format.json"
        if mark.is_file():
            made = _read(mark).get("format")
            if not isinstance(made, int) or made > FORMAT:
                raise Refusal(
                    f"report folder {self.report.name}",
                    f"a report of format {made}",
                    f"format {FORMAT} or older",
                    "use the newer version that made it, or another --out",
                )
        elif self.report.is_dir() and any(self.report.iterdir()):
            raise Refusal(
                f"output folder {self.report}",
                "a folder with other files in it",
                "a new or empty folder, or an earlier report",
                "choose another --out; nothing was touched",
            )
        if not mark.is_file():  # a run holds its lock on this very file, so it is never replaced
            write_text_whole(mark, json.dumps({"format": FORMAT}) + "\n")

    def begin(self, subjects: Iterable[str]) -> None:
        """Leave word that a run makes the pages of these subjects; it stays where the run does not reach its end."""
        write_text_whole(self.report / UNFINISHED_RUN, "".join(f"{subject}\n" for subject in subjects))

    def end(self) -> None:
        """Take the word of `begin` away: the run's records are written."""
        (self.report / UNFINISHED_RUN).unlink()

    def subjects(self) -> list[str]:
        """Return the subjects whose pages are on record; one that cannot be read is none, and its page is made again."""
        return [name for name, _ in self.records()]

    def records(self) -> Iterator[tuple[str, dict]]:
        """Go through the subjects of `subjects` with what is on record of each, one in memory at a time."""
        found = sorted(path.stem for path in (self.report / FOLDER).glob("*.json") if path.stem != "format")
        for name in found:
            if _is_whole(record := self.of(name)):
                yield name, record

    def of(self, subject: str) -> dict:
        """Return what is on record of a page; empty when nothing is."""
        return _read(self._path(subject))

    def unchanged(self, subject: str, key: str) -> bool:
        """Whether the page was made with this key and every file it left is as it was."""
        record = self.of(subject)
        return (
            _is_whole(record)
            and record["key"] == key
            and all(
                checksum_if_there(self.report / name) == checksum
                for name, checksum in record["files"].items()
            )
        )

    def forget(self, subject: str) -> None:
        """Remove a page's files and its key, the key first; nothing outside the report, whatever the record says."""
        record = self.of(subject)
        self._path(subject).unlink(missing_ok=True)
        for path in (self.report / name for name in record.get("files", {})):
            if is_inside(self.report, path):
                path.unlink(missing_ok=True)

    def keep(
        self,
        subject: str,
        key: str,
        page: Mapping[str, str],
        roots: Iterable[str],
        origin: Mapping[str, object],
    ) -> None:
        """Record a finished page: its key, the checksums of all files below `roots`, and what it was made from."""
        found = [path for root in roots for path in _files_below(self.report / root)]
        files = {path.relative_to(self.report).as_posix(): sha256_of(path) for path in sorted(found)}
        self._write(subject, {"key": key, "page": dict(page), "files": files, "origin": dict(origin)})

    def mark(self, record: Mapping[str, Any], outdated: str) -> None:
        """Keep beside a page's `record`, as `records` gives it, why it is out of date; with '' take such words away."""
        if record.get(OUT_OF_DATE, "") != outdated:
            rest = {name: part for name, part in record.items() if name != OUT_OF_DATE}
            self._write(record["page"]["subject"], rest | ({OUT_OF_DATE: outdated} if outdated else {}))

    def clear(self, roots: Iterable[str]) -> None:
        """Remove whatever an unfinished page left below `roots`.

        Raises
        ------
        Refusal
            Where the report is no folder of its own: a link in it leads elsewhere, and the page would be written there.
        """
        for root in roots:
            path = self.report / root
            if not is_inside(self.report, path):
                wanted = "a folder without links out of it"
                raise Refusal(
                    f"report folder {self.report.name}", f"{root}, a link", wanted, "choose another --out"
                )
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)

    def _write(self, subject: str, record: Mapping[str, Any]) -> None:
        text = json.dumps(record, indent=1, sort_keys=True, ensure_ascii=False)
        write_text_whole(self._path(subject), f"{text}\n")

    def _path(self, subject: str) -> Path:
        return self.report / FOLDER / record_name(subject)


def _is_whole(record: Mapping[str, Any]) -> bool:
    """Whether a record holds what a run needs of it; another program, or a hand, may have written it."""
    page, files = record.get("page"), record.get("files")
    return (
        isinstance(record.get("key"), str)
        and isinstance(page, dict)
        and page.keys() == OF_A_PAGE
        and isinstance(files, dict)
    )


def _read(path: Path) -> dict:
    try:
        content = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else {}
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def _files_below(path: Path) -> list[Path]:
    if path.is_dir():
        return [file for file in path.rglob("*") if file.is_file()]
    return [path] if path.is_file() else []
