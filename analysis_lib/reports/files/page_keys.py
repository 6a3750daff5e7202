"""What each page of a report depends on, so that only what changed is made again.

A page's key is the SHA-256 of everything that its content follows from: its inputs, the study's settings, the notebook's
source, the library's source, the versions of the packages, the parameters. Beside the key stand the checksums of the
files that the page left. A page is unchanged when its key is the same and its files are as they were; so a run that was
killed at any moment is finished by the next, and an edited page is made again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import pandas as pd

from analysis_lib.reports.files.pdf_page import printer_version
from analysis_lib.reports.files.places import PACKAGE, notebooks_folder
from analysis_lib.reports.files.run_record import package_versions, sha256_of, sha256_of_input
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.corrections.zero_lookup import NONE, places_around, zero_columns
from analysis_lib.study.tables.package_check import described_checksum


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
    """What the pages of a study are made from; what several have in common is put into words once."""

    study: Study

    def of_rider(self, rider: str) -> dict[str, object]:
        """Return what a rider's page is made from: rows of the tables, zero checks, and recordings by checksum.

        Places of rows in a table are left out, so that a row put in above makes nobody else's page again.
        """
        return self._of(rider, self.study.trials_of(rider))

    def of_all(self) -> dict[str, object]:
        """Return what the pages about all riders read of the study itself: every row of its tables.

        A zero check that is near no trial, say, is in the table of zero checks and on no rider's page.
        """
        return dict(self._tables)

    def of_trial(self, trial: str) -> dict[str, object]:
        """Return what one usable trial's result is made from: the like of `of_rider`, and its ring's outline."""
        trials = self.study.trials[self.study.trials["trial"] == trial]
        rider, ring = (str(trials[name].iloc[0]) for name in ("rider", "ring"))
        return self._of(rider, trials) | {"outline": self.study.settings.rings[ring].outline_mm}

    def _of(self, rider: str, trials: pd.DataFrame) -> dict[str, object]:
        study = self.study
        files = sorted({str(name) for name in trials["file"] if name})
        return {
            "rider": _as_text(study.riders[study.riders["rider"] == rider]),
            "trials": _as_text(trials),
            "zero_checks": self._zero_checks_of(trials),
            "problems": self._problems.get(rider, []),
            "recorders": self._recorders,
            "recordings": {name: _recording(study.root / name) for name in files},
            "described": {name: described_checksum(study.root, name) for name in files},
        }

    @cached_property
    def _tables(self) -> dict[str, str]:
        """One checksum over each table."""
        names = ("riders", "trials", "set_aside", "zero_checks")
        return {name: digest({"rows": _as_text(getattr(self.study, name))}) for name in names}

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
        near = _as_text(self.study.zero_checks.iloc[sorted(places)])
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
        checks = self.study.zero_checks
        return {
            name: digest({"checks": _as_text(checks[checks["recorder"] == name])})
            for name in self.study.settings.recorders
        }


def _as_text(table: pd.DataFrame) -> str:
    """A table without the places of its rows in the file."""
    return table.drop(columns="row").to_csv(index=False)


def _recording(path: Path) -> str:
    return sha256_of_input(path) if path.is_file() else "missing"


def page_key(
    study: Study, notebook: str, parameters: Mapping[str, object], inputs: Mapping[str, object]
) -> str:
    """Return the key of one page.

    Settings are those of the study as it was opened: who edits study.toml while a run is at work gets pages of the file as
    it was, which the next run must not take for pages of the file as it is.
    """
    return digest(
        {
            "settings": study.settings.model_dump_json(),  # with the outlines of rings, in the order of the file
            "notebook": sha256_of(notebooks_folder() / notebook),
            "library": source_digest(),
            "packages": package_versions(),
            "paper": printer_version(),
            "parameters": dict(parameters),
            "inputs": dict(inputs),
        }
    )
