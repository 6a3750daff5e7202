"""Whether a report folder is what its own records say: its files, the program and the inputs that it was made from."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from urllib.parse import unquote

from analysis_lib.refusals import Refusal, Refusals, printable
from analysis_lib.reports.page_origin import MISSING, inputs_of_study, software
from analysis_lib.reports.run_crate import FILE as CRATE
from analysis_lib.reports.run_record import sha256_of
from analysis_lib.study.folder import open_study

Finding = Literal["agrees", "differs", "not checked"]


@dataclass(frozen=True)
class Check:
    """One thing that was compared: what, the finding, and by how much or why not."""

    what: str
    finding: Finding
    details: str = ""

    def __post_init__(self) -> None:
        """Keep out of the terminal what a stranger's report may hold."""
        object.__setattr__(self, "what", printable(self.what))
        object.__setattr__(self, "details", printable(self.details))

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

    @property
    def files(self) -> dict[str, str]:
        """SHA-256 of every file of every page."""
        return {name: sha for page in self.pages.values() for name, sha in page["files"].items()}


def read_records(report: Path) -> ReportRecords:
    """Read the records of a report folder.

    Raises
    ------
    Refusal
        When the folder holds no record of a run, or one that cannot be read.
    """
    if not (report / "run.json").is_file():
        wanted = "a report folder made by roundoval"
        raise Refusal(str(report), "no run.json", wanted, "name the folder of a report")
    run = _read(report / "run.json", ("inputs", "packages", "version", "git"))
    pages = [
        _read(path, ("key", "page", "files"))
        for path in sorted((report / "keys").glob("*.json"))
        if path.name != "format.json"
    ]
    crate = _crate_checksums(report / CRATE) if (report / CRATE).is_file() else None
    try:
        subjects = {page["page"]["subject"]: page for page in pages}
    except (KeyError, TypeError) as error:
        raise _broken(report / "keys", f"a record without {error}") from error
    return ReportRecords(report, run, subjects, crate)


def _read(path: Path, needed: tuple[str, ...]) -> dict[str, Any]:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        missing = [name for name in needed if name not in content]
    except (ValueError, TypeError, RecursionError) as error:
        raise _broken(path, str(error).splitlines()[0]) from error
    if missing or not isinstance(content, dict):
        raise _broken(path, f"no {', '.join(missing) or 'record'}")
    return content


def _broken(path: Path, got: str) -> Refusal:
    return Refusal(path.name, got, "the record as roundoval wrote it", "ask for the report again")


def _crate_checksums(path: Path) -> dict[str, str]:
    """SHA-256 of the report's own files by the research object; inputs, which stand elsewhere, have no relative name."""
    graph = _read(path, ("@graph",))["@graph"]
    try:
        files = [entity for entity in graph if entity["@type"] == "File" and ":" not in entity["@id"]]
        return {unquote(entity["@id"]): entity["sha256"] for entity in files}
    except (KeyError, TypeError) as error:
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
            for name, sha in records.files.items()
            if records.crate.get(name) != sha
        ]
        changed = changed_files(records.report, records.crate)
        yield Check.of(CRATE, [*changed, *told_apart], f"{len(records.crate)} files with its checksums")
    known = {*records.files, *(records.crate or {}), CRATE, "run.json", "index.html", "index.pdf"}
    found = (path for path in records.report.rglob("*") if path.is_file())
    names = {path.relative_to(records.report).as_posix() for path in found}
    strangers = sorted(name for name in names - known if not name.startswith("keys/"))
    if strangers:
        yield Check("files without record", "not checked", ", ".join(strangers))


def changed_files(root: Path, checksums: Mapping[str, str]) -> list[str]:
    """Return what became of each recorded file that is no longer as it was; no file outside `root` is opened.

    >>> changed_files(Path("nowhere"), {"../secret": "0"})
    ['../secret leads out of the folder']
    """
    found = {name: _state(root, name, sha) for name, sha in checksums.items()}
    return [f"{name} {state}" for name, state in found.items() if state]


def _state(root: Path, name: str, sha: str) -> str:
    path = root / name
    if not path.resolve().is_relative_to(root.resolve()):
        return "leads out of the folder"
    if not path.is_file():
        return "" if sha == MISSING else "is missing"
    return "" if sha256_of(path) == sha else "was edited" if sha != MISSING else "is there now"


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


def check_inputs(record: Mapping[str, Any], study: Path) -> Iterator[Check]:
    """The study's files are those of the record."""
    changed = changed_files(study, record["inputs"])
    try:
        changed += [
            f"{name} is new" for name in inputs_of_study(open_study(study)) if name not in record["inputs"]
        ]
    except (Refusal, Refusals) as refusal:
        yield Check("study folder", "differs", f"cannot be opened: {refusal}")
    yield Check.of("inputs", changed, f"{len(record['inputs'])} files with the recorded checksums")
