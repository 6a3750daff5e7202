"""Whether a report folder is what its own records say: its files, the program and the inputs that it was made from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from analysis_lib.refusals import cut, printable
from analysis_lib.reports.files.page_records import (
    OUT_OF_DATE,
    REMEDY,
    UNFINISHED_RUN,
    record_name,
    state_on_record,
)
from analysis_lib.reports.files.run_record import sha256_of
from analysis_lib.reports.record.page_origin import MISSING, names_of_inputs, software
from analysis_lib.reports.record.report_records import GO_ON, RUN_FILE, ReportRecords
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.run_crate import OWN_FILES
from analysis_lib.study.checks.folder import Study

Finding = Literal["agrees", "differs", "not checked"]
PARTED = "; "
"""Stands between differences of one thing."""


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
        said = PARTED.join(differences)
        return cls(what, "differs" if said else "agrees", said or agreement)


@dataclass
class _Told:
    """What the pages' own records told, and became of it: in numbers, which take a tenth of a thousand riders' words."""

    files: set[int] = field(default_factory=set)
    names: set[int] = field(default_factory=set)
    changed: dict[tuple[str, str], str] = field(default_factory=dict)
    states: dict[str, str] = field(default_factory=dict)

    def page(self, root: Path, subject: str, record: Mapping[str, Any]) -> list[str]:
        """Take in what is on record of one page; return what became of its files."""
        files = record["files"]
        self.states[subject] = state_on_record(record)
        self.files.update(map(hash, files.items()))
        self.names.update(map(hash, (*files, f"keys/{record_name(subject)}")))
        found = _states(root, files)
        self.changed |= {(name, files[name]): state for name, state in found.items()}
        return _sentences(found)


def check_files(records: ReportRecords) -> Iterator[Check]:
    """Every file is as it was when it was made, by the page's record and by the research object."""
    if records.stopped:
        yield Check("run", "differs", f"one {records.stopped}; {GO_ON}")
    told = _Told()
    for subject, record in records.pages():
        changed = told.page(records.report, subject, record)
        yield Check.of(f"files of {subject}", changed, f"{len(record['files'])} files as they were made")
        if outdated := record.get(OUT_OF_DATE):
            yield Check(f"page of {subject}", "differs", f"{outdated}; {REMEDY}")
    if records.has_crate:
        yield _check_crate(records, told)
    else:
        yield Check(CRATE, "not checked", "the report has none; the records of the pages were checked")
    yield Check.of(
        RUN_FILE, _states_apart(records.run["states"], told.states), "the states of the pages as in keys/"
    )
    if strangers := _strangers(records, told.names):
        yield Check("files without record", "not checked", ", ".join(strangers))


def _check_crate(records: ReportRecords, told: _Told) -> Check:
    """Compare the files of the research object with those on the disk and with those of the pages' records."""
    changed: dict[str, str] = {}
    apart: dict[str, None] = {}
    count, seen = 0, set()
    for pair in records.crate_files():
        name, sha = pair
        count += 1
        seen.add(hash(pair))
        told.names.add(hash(name))
        is_told = hash(pair) in told.files  # then it was looked at already
        if state := told.changed.get(pair, "") if is_told else _state(records.report, name, sha):
            changed[name] = state
        if not is_told and name not in OWN_FILES:
            apart[name] = None
    if told.files - seen:
        of_pages = (pair for _, record in records.pages() for pair in record["files"].items())
        apart |= {pair[0]: None for pair in of_pages if hash(pair) not in seen}
    differences = [*_sentences(changed), *(f"{name}: another checksum than in keys/" for name in apart)]
    return Check.of(CRATE, differences, f"{count} files with its checksums")


def _states_apart(states: Mapping[str, str], told: Mapping[str, str]) -> list[str]:
    """Say which pages are another in the record of the run than in their own, or are in one of them alone."""
    return [
        f"{subject}: {states.get(subject, 'no page')}, by keys/ {told.get(subject, 'no page')}"
        for subject in {**states, **told}
        if states.get(subject) != told.get(subject)
    ]


def _strangers(records: ReportRecords, known: set[int]) -> list[str]:
    """Name the files, links and whatever else a folder can hold that no record knows."""
    ours = {"keys/format.json", UNFINISHED_RUN, *OWN_FILES, CRATE}
    found = (path for path in records.report.rglob("*") if path.is_symlink() or not path.is_dir())
    names = (path.relative_to(records.report).as_posix() for path in found)
    return sorted(name for name in names if hash(name) not in known and name not in ours)


def changed_files(root: Path, checksums: Mapping[str, str]) -> list[str]:
    """Return what became of each recorded file that is no longer as it was; no file outside `root` is opened.

    >>> changed_files(Path("nowhere"), {"../secret": "0"})
    ['../secret leads out of the folder']
    """
    return _sentences(_states(root, checksums))


def _states(root: Path, checksums: Mapping[str, str]) -> dict[str, str]:
    found = {name: _state(root, name, sha) for name, sha in checksums.items()}
    return {name: state for name, state in found.items() if state}


def _sentences(changed: Mapping[str, str]) -> list[str]:
    return [f"{name} {state}" for name, state in changed.items()]


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
        changed += [f"{name} is new" for name in names_of_inputs(study) if name not in record["inputs"]]
    yield Check.of("inputs", changed, f"{len(record['inputs'])} files with the recorded checksums")
