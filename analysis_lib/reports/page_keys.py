"""What each page of a report depends on, so that only what changed is made again.

A page's key is the SHA-256 of everything that its content follows from: its inputs, the study's settings, the notebook's
source, the library's source, the versions of the packages, the parameters. Beside the key stand the checksums of the
files that the page left. A page is unchanged when its key is the same and its files are as they were; so a run that was
killed at any moment is finished by the next, and an edited page is made again.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.pdf_page import printer_version
from analysis_lib.reports.places import PACKAGE, notebooks_folder
from analysis_lib.reports.run_record import package_versions, sha256_of
from analysis_lib.reports.whole_file import write_text_whole
from analysis_lib.study.folder import Study
from analysis_lib.study.package_check import described_checksum
from analysis_lib.study.schema import is_inside
from analysis_lib.study.zero_lookup import NONE, places_around, zero_columns

FOLDER = "keys"
FORMAT = 1
"""Raised whenever the layout of a report folder changes, so that an older program never mends a newer report."""


@cache
def source_digest() -> str:
    """Return one SHA-256 over the library's source files, by name and content."""
    files = sorted(
        path for path in PACKAGE.rglob("*") if path.suffix in {".py", ".j2", ".css", ".toml", ".md"}
    )
    return digest({path.relative_to(PACKAGE).as_posix(): sha256_of(path) for path in files})


def digest(parts: Mapping[str, object]) -> str:
    """Return the SHA-256 of plain values under their names, whatever their order."""
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


@dataclass(frozen=True)
class StudyInputs:
    """What the riders' pages of a study are made from; what several have in common is put into words once."""

    study: Study

    def of_rider(self, rider: str) -> dict[str, object]:
        """Return what a rider's page is made from: rows of the tables, zero checks, and recordings by checksum.

        Places of rows in a table are left out, so that a row put in above makes nobody else's page again.
        """
        return self._of(rider, self.study.trials_of(rider))

    def of_trial(self, trial: str) -> dict[str, object]:
        """Return what one usable trial's result is made from: the like of `of_rider`, and its ring's outline."""
        trials = self.study.trials[self.study.trials["trial"] == trial]
        rider, ring = (str(trials[name].iloc[0]) for name in ("rider", "ring"))
        return self._of(rider, trials) | {"outline": self.study.settings.rings[ring].outline_mm}

    def _of(self, rider: str, trials: pd.DataFrame) -> dict[str, object]:
        study = self.study
        files = sorted({str(name) for name in trials["file"] if name})
        return {
            "rider": study.riders[study.riders["rider"] == rider].drop(columns="row").to_csv(index=False),
            "trials": trials.drop(columns="row").to_csv(index=False),
            "zero_checks": self._zero_checks_of(trials),
            "problems": self._problems.get(rider, []),
            "recorders": self._recorders,
            "recordings": {name: _checksum_if_there(study.root / name) for name in files},
            "described": {name: described_checksum(study.root, name) for name in files},
        }

    @cached_property
    def _recorders(self) -> str:
        return digest({"known": self.study.known.fingerprint()})

    @cached_property
    def _problems(self) -> dict[str, list[str]]:
        """Problems by the rider at whose door they are laid. Those of the study show on no rider's page."""
        found: dict[str, list[str]] = {}
        for problem in self.study.problems:
            found.setdefault(problem.rider, []).append(str(problem))
        return found

    def _zero_checks_of(self, trials: pd.DataFrame) -> dict[str, str]:
        """The checks around a rider's trials; all of a recorder where a trial lacks one, or zero is fitted on temperature.

        How far a zero usually drifts is asked of all checks only for a trial without one before or after it.
        """
        fitted = self.study.settings.rules.zero_model == "temperature"
        around = [self._around[row] for row in trials["row"] if row in self._around]
        needing_all = {recorder for recorder, *places in around if fitted or NONE in places}
        places = {place for _, *places in around for place in places} - {NONE}
        near = self.study.zero_checks.iloc[sorted(places)].drop(columns="row").to_csv(index=False)
        columns = {name: self._zero_columns[name] for name in sorted({recorder for recorder, *_ in around})}
        return {"near": near, "columns": digest(columns)} | {
            name: self._all_checks[name] for name in needing_all
        }

    @cached_property
    def _around(self) -> dict[int, tuple[str, int, int]]:
        """By the row of each trial of a known recorder: the recorder, and the places of the checks before and after."""
        settings, trials = self.study.settings, self.study.trials
        known = trials[trials["recorder"].isin(list(settings.recorders))]
        places = places_around(settings, self.study.zero_checks, known)
        return dict(zip(known["row"], zip(known["recorder"], *places, strict=True), strict=True))

    @cached_property
    def _zero_columns(self) -> dict[str, dict[str, str]]:
        """The columns of each recorder's zeros."""
        settings, checks = self.study.settings, self.study.zero_checks
        return {name: zero_columns(settings, checks, name) for name in settings.recorders}

    @cached_property
    def _all_checks(self) -> dict[str, str]:
        """One checksum over all zero checks of each recorder."""
        checks = self.study.zero_checks.drop(columns="row")
        return {
            name: digest({"checks": checks[checks["recorder"] == name].to_csv(index=False)})
            for name in self.study.settings.recorders
        }


def page_key(
    study: Study, notebook: str, parameters: Mapping[str, object], inputs: Mapping[str, object]
) -> str:
    """Return the key of one page."""
    return digest(
        {
            "settings": sha256_of(study.root / "study.toml"),
            "outlines": {name: ring.outline_mm for name, ring in study.settings.rings.items()},
            "notebook": sha256_of(notebooks_folder() / notebook),
            "library": source_digest(),
            "packages": package_versions(),
            "paper": printer_version(),
            "parameters": dict(parameters),
            "inputs": dict(inputs),
        }
    )


def _checksum_if_there(path: Path) -> str:
    return sha256_of(path) if path.is_file() else "missing"


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

    def open(self, fresh: bool) -> None:
        """Make the folder of keys; forget all pages when `fresh`.

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
        if fresh:
            for subject in self.subjects():
                self.forget(subject)
        if not mark.is_file():  # a run holds its lock on this very file, so it is never replaced
            write_text_whole(mark, json.dumps({"format": FORMAT}) + "\n")

    def subjects(self) -> list[str]:
        """Return the subjects whose pages are on record; one that cannot be read is none, and its page is made again."""
        return [name for name, _ in self.records()]

    def records(self) -> Iterator[tuple[str, dict]]:
        """Go through the subjects of `subjects` with what is on record of each, one in memory at a time."""
        found = sorted(path.stem for path in (self.report / FOLDER).glob("*.json") if path.stem != "format")
        for name in found:
            if {"key", "page", "files"} <= (record := self.of(name)).keys():
                yield name, record

    def of(self, subject: str) -> dict:
        """Return what is on record of a page; empty when nothing is."""
        return _read(self._path(subject))

    def unchanged(self, subject: str, key: str) -> bool:
        """Whether the page was made with this key and every file it left is as it was."""
        record = self.of(subject)
        return (
            {"page", "files"} <= record.keys()
            and record.get("key") == key
            and all(
                _checksum_if_there(self.report / name) == checksum
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
        record = {"key": key, "page": dict(page), "files": files, "origin": dict(origin)}
        write_text_whole(
            self._path(subject), json.dumps(record, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
        )

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

    def _path(self, subject: str) -> Path:
        return self.report / FOLDER / record_name(subject)


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
