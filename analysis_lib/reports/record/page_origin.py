"""What a page was made from: the files that were read, by checksum, and the program that read them.

The origin is written down at the moment when a page is made and stays with the page, so that a page which later runs
leave as it is still tells its own story. It holds nothing that differs between two runs on equal inputs: no clock, no
user, no host, no absolute path, and none of the options that change no byte of a page.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from analysis_lib import __version__
from analysis_lib.reports.files.page_keys import source_digest
from analysis_lib.reports.files.pdf_page import printer_version
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.files.run_record import git_state, package_versions, sha256_of, sha256_of_input
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.declared.settings import FILE as SETTINGS
from analysis_lib.study.tables.datapackage import FILE as DESCRIPTOR
from analysis_lib.study.tables.rows import CALIBRATIONS, RIDERS, TRIALS, ZERO_CHECKS

MISSING = "missing"
"""Stands for the checksum of a file that a table names and the folder lacks."""


def files_about_all(study: Study) -> list[str]:
    """Return the files of a study that every page reads: settings, tables, descriptor, outlines and slow turns."""
    named = [SETTINGS, *(kind.file for kind in (RIDERS, TRIALS, ZERO_CHECKS))]
    may_be = [file for file in (CALIBRATIONS.file, DESCRIPTOR) if (study.root / file).is_file()]
    outlines = [ring.outline for ring in study.settings.rings.values() if ring.outline]
    slow_turns = [turn.file for recorder in study.settings.recorders.values() for turn in recorder.slow_turns]
    return sorted({*named, *may_be, *outlines, *slow_turns})


def recordings_of(study: Study, rider: str) -> list[str]:
    """Return the recordings that a rider's rows of trials.csv name."""
    return sorted({str(name) for name in study.trials_of(rider)["file"] if name})


def frozen_plan(study: Study) -> list[str]:
    """Return the files of the frozen protocol, against which the study's page holds what was done.

    A folder that is a link out of the study has none: not even the names of what is there belong into a report.
    """
    folder = study.root / PLAN_FOLDER
    plan = (
        sorted(path for path in folder.rglob("*") if path.is_file()) if is_inside(study.root, folder) else []
    )
    return [path.relative_to(study.root).as_posix() for path in plan]


def checksums_of(root: Path, names: list[str]) -> dict[str, str]:
    """Return the SHA-256 of each named file below `root`; 'missing' for none, and for a link out of the folder."""
    inside = {name for name in names if (root / name).is_file() and is_inside(root, root / name)}
    return {name: sha256_of_input(root / name) if name in inside else MISSING for name in names}


def names_of_inputs(study: Study) -> list[str]:
    """Return every file of the study that a report reads. What it does not read is not listed."""
    recordings = [name for rider in study.riders["rider"] for name in recordings_of(study, str(rider))]
    return sorted({*files_about_all(study), *recordings, *frozen_plan(study)})


def inputs_of_study(study: Study) -> dict[str, str]:
    """Return every file of the study that a report reads, by checksum."""
    return checksums_of(study.root, names_of_inputs(study))


def page_origin(study: Study, plan: PlannedPage, report: Path) -> dict[str, Any]:
    """Return what a page is made from, as it stands at this moment.

    Returns
    -------
    dict
        ``command`` that makes this page again, ``parameters`` of its notebook, name of the ``study`` and its ``seed``, the
        ``notebook`` itself, the ``inputs`` of the study folder and the riders' ``tables`` of the report by SHA-256, and
        the ``software``.
    """
    return {
        "command": command_for(plan.rider),
        "parameters": dict(plan.parameters),
        "study": study.settings.study.name,
        "seed": study.settings.study.seed,
        "notebook": {plan.template: sha256_of(notebooks_folder() / plan.template)},
        "inputs": _inputs_of_page(study, plan),
        "tables": {} if plan.rider else _riders_tables(report),
        "software": software(),
    }


def changed_since(study: Study, plan: PlannedPage, origin: object) -> list[str]:
    """Name what a page was made from, by its origin on record, and is another now: files of the study, then the program.

    A table counts as a whole, also where no row that the page reads is another.
    """
    before = origin if isinstance(origin, dict) else {}
    told, now = before.get("inputs"), _inputs_of_page(study, plan)
    inputs = told if isinstance(told, dict) else {}
    changed = [name for name in sorted({**inputs, **now}) if inputs.get(name) != now.get(name)]
    notebook = {plan.template: sha256_of(notebooks_folder() / plan.template)}
    if before.get("notebook") != notebook or _results_follow_from(before.get("software")) != (
        _results_follow_from(software())
    ):
        changed.append("the program")
    return changed


def _inputs_of_page(study: Study, plan: PlannedPage) -> dict[str, str]:
    own = recordings_of(study, plan.rider) if plan.rider else frozen_plan(study)
    return checksums_of(study.root, sorted({*files_about_all(study), *own}))


def _results_follow_from(program: object) -> list[object]:
    """What of a program a page's bytes follow from; its state in git is no part of that."""
    return (
        [program.get(name) for name in ("source", "packages", "paper")] if isinstance(program, dict) else []
    )


def command_for(rider: str) -> str:
    """Return the command that makes one rider's pages, or all, with every option that bytes follow from."""
    return "roundoval report STUDY --out REPORT" + (f" --rider {rider}" if rider else "")


def software() -> dict[str, Any]:
    """Return the program's version, its state in git, the SHA-256 of its source, and the versions of packages."""
    return {
        "program": "roundoval",
        "version": __version__,
        "git": git_state(),
        "source": source_digest(),
        "packages": package_versions(),
        "paper": printer_version(),
    }


def _riders_tables(report: Path) -> dict[str, str]:
    """The tables that riders' pages left for the pages about all; those as shown on a page are not read again."""
    found = sorted((report / "tables" / "riders").glob("*/*.csv"))
    return {path.relative_to(report).as_posix(): sha256_of(path) for path in found}
