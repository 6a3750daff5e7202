"""Whether a report folder is what its own records say: its files, the program and the inputs that it was made from."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal
from urllib.parse import unquote

from analysis_lib.refusals import Refusal, cut, printable
from analysis_lib.reports.files.page_records import FORMAT, record_name
from analysis_lib.reports.files.run_record import sha256_of
from analysis_lib.reports.record.page_origin import MISSING, inputs_of_study, software
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.run_crate import OWN_FILES
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.tables.named_folder import check_folder

Finding = Literal["agrees", "differs", "not checked"]
Kind = type[Any]

RUN: dict[str, Kind] = {"inputs": dict, "packages": dict, "states": dict, "version": str, "git": str}
RUN_FILE = "run.json"
PAGE: dict[str, Kind] = {"key": str, "page": dict, "files": dict}
"""What is needed of the record of a run and of a page."""


@dataclass(frozen=True)
class Check:
    """One thing that was compared: what, the finding, and by how much or why not."""

    what: str
    finding: Finding
    details: str = ""

    def __post_init__(self) -> None:
        """Keep out of the terminal what a stranger's report may hold."""
        object.__setattr__(self, "what", printable(cut(self.what)))
        object.__setattr__(self, "details", printable(cut(self.details)))

    @classmethod
    def of(cls, what: str, differences: Iterable[str], agreement: str) -> Check:
        """Return 'differs' with the differences, or 'agrees' where there are none."""
        said = "; ".join(differences)
        return cls(what, "differs" if said else "agrees", said or agreement)


@dataclass(frozen=True)
class ReportRecords:
    """What a report folder says of itself: the run, each page, and the research object."""

    report: Path
    run: dict[str, Any]
    pages: dict[str, dict[str, Any]]
    crate: dict[str, str] | None

    @cached_property
    def files(self) -> dict[str, str]:
        """SHA-256 of every file of every page."""
        return {name: sha for page in self.pages.values() for name, sha in page["files"].items()}


def read_records(report: Path) -> ReportRecords:
    """Read the records of a report folder.

    Raises
    ------
    Refusal
        When there is no such folder, or it holds no record of a run, one that cannot be read, or those of a newer version.
    """
    wanted, remedy = "a report folder made by roundoval", "name the folder of a report"
    check_folder(report, RUN_FILE, wanted, remedy)
    if not (report / RUN_FILE).is_file():
        raise Refusal(str(report), f"no {RUN_FILE}", wanted, remedy)
    run = read_record(report, report / RUN_FILE, RUN)
    _check_format(report, run["version"])
    crate = _crate_checksums(report) if (report / CRATE).is_file() else None
    paths = [path for path in sorted((report / "keys").glob("*.json")) if path.name != "format.json"]
    return ReportRecords(report, run, dict(_read_page(report, path) for path in paths), crate)


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
    if not path.is_file() or not is_inside(report, path):
        raise _broken(path, "no file of the report")
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


def _is(value: object, kind: Kind) -> bool:
    """Whether a value is of a kind; a dict is one of words."""
    return isinstance(value, kind) and (
        kind is not dict or all(isinstance(word, str) for word in value.values())
    )


def _broken(path: Path, got: str) -> Refusal:
    return Refusal(path.name, got, "the record as roundoval wrote it", "ask for the report again")


def _crate_checksums(report: Path) -> dict[str, str]:
    """SHA-256 of the report's own files by the research object; inputs, which stand elsewhere, have no relative name."""
    path = report / CRATE
    graph = read_record(report, path, {"@graph": list})["@graph"]
    try:
        files = [entity for entity in graph if entity["@type"] == "File" and ":" not in entity["@id"]]
        return {unquote(entity["@id"]): str(entity["sha256"]) for entity in files}
    except (KeyError, TypeError, AttributeError) as error:
        raise _broken(path, f"an entity without {error}") from error


def check_files(records: ReportRecords) -> Iterator[Check]:
    """Every file is as it was when it was made, by the page's record and by the research object."""
    for subject, page in records.pages.items():
        yield Check.of(
            f"files of {subject}",
            changed_files(records.report, page["files"]),
            f"{len(page['files'])} files as they were made",
        )
    if records.crate is None:
        yield Check(CRATE, "not checked", "the report has none; the records of the pages were checked")
    else:
        told_apart = [
            f"{name}: another checksum than in keys/"
            for name in {**records.files, **records.crate}
            if name not in OWN_FILES and records.crate.get(name) != records.files.get(name)
        ]
        changed = changed_files(records.report, records.crate)
        yield Check.of(CRATE, [*changed, *told_apart], f"{len(records.crate)} files with its checksums")
    yield Check.of(RUN_FILE, _states_apart(records), "the states of the pages as in keys/")
    if strangers := _strangers(records):
        yield Check("files without record", "not checked", ", ".join(strangers))


def _states_apart(records: ReportRecords) -> list[str]:
    """Say which pages are another in the record of the run than in their own, or are in one of them alone."""
    told = {
        subject: f"failed: {page['page'].get('cause')}" if page["page"].get("cause") else "made"
        for subject, page in records.pages.items()
    }
    states = records.run["states"]
    return [
        f"{subject}: {states.get(subject, 'no page')}, by keys/ {told.get(subject, 'no page')}"
        for subject in {**states, **told}
        if states.get(subject) != told.get(subject)
    ]


def _strangers(records: ReportRecords) -> list[str]:
    """Name the files, links and whatever else a folder can hold that no record knows."""
    keys = {"keys/format.json", *(f"keys/{record_name(subject)}" for subject in records.pages)}
    known = {*records.files, *(records.crate or {}), *keys, *OWN_FILES, CRATE}
    found = (path for path in records.report.rglob("*") if path.is_symlink() or not path.is_dir())
    return sorted({path.relative_to(records.report).as_posix() for path in found} - known)


def changed_files(root: Path, checksums: Mapping[str, str]) -> list[str]:
    """Return what became of each recorded file that is no longer as it was; no file outside `root` is opened.

    >>> changed_files(Path("nowhere"), {"../secret": "0"})
    ['../secret leads out of the folder']
    """
    found = {name: _state(root, name, sha) for name, sha in checksums.items()}
    return [f"{name} {state}" for name, state in found.items() if state]


def _state(root: Path, name: str, sha: str) -> str:
    path = root / name
    try:
        if not path.resolve().is_relative_to(root.resolve()):
            return "leads out of the folder"
        if not path.is_file():
            return "" if sha == MISSING else "is missing"
        return "" if sha256_of(path) == sha else "was edited" if sha != MISSING else "is there now"
    except (OSError, ValueError) as error:  # a name that no file can have, or a file that cannot be read
        return f"cannot be read: {getattr(error, 'strerror', None) or error}"


def check_program(record: Mapping[str, Any]) -> Iterator[Check]:
    """The program and the packages here are those of the record."""
    here = software()
    differences = [
        f"{what} {record.get(name, 'not recorded')} there, {here[name]} here"
        for name, what in (("version", "version"), ("source", "SHA-256 of the library"))
        if record.get(name) != here[name]
    ]
    if differences:
        differences.append(f"git: {record['git']} there, {here['git']} here")
    yield Check.of("program", differences, f"roundoval {here['version']} from the same source")
    packages = record["packages"] | {"weasyprint": record.get("paper", "not recorded")}
    mine = here["packages"] | {"weasyprint": here["paper"]}
    other = [
        f"{name} {version} there, {mine.get(name, 'none')} here"
        for name, version in packages.items()
        if mine.get(name) != version
    ]
    yield Check.of("versions of packages", other, f"{len(packages)} packages")


def check_inputs(record: Mapping[str, Any], root: Path, study: Study | None) -> Iterator[Check]:
    """The files of the study folder are those of the record; new ones are known where the study can be opened."""
    changed = changed_files(root, record["inputs"])
    if study is not None:
        changed += [f"{name} is new" for name in inputs_of_study(study) if name not in record["inputs"]]
    yield Check.of("inputs", changed, f"{len(record['inputs'])} files with the recorded checksums")
