"""Whose report a folder holds: a report belongs to one study, which is known by its name and its seed.

Both stand in study.toml, are chosen once and go into every page, so that a study of another name or seed would make every
page anew in any case. Its folder may be moved, and its question, riders and trials may change.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.record.crate_reading import entities_of
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.run_crate import TITLE
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.schema import is_inside


def check_same_study(study: Study, keys: PageKeys) -> None:
    """Refuse a folder that holds a page of another study: none of them may pass for a page of this one.

    Raises
    ------
    Refusal
        When name or seed of a page on record, or the name that the research object gives, are others.
    """
    heading = study.settings.study
    for name, seed in sorted(_studies_in(keys), key=str):
        differs = (name or heading.name, heading.seed if seed is None else seed)
        if differs != (heading.name, heading.seed):
            raise Refusal(
                f"report folder {keys.report.name}",
                f"the report of another study, {_called(name or 'of unknown name', seed)}",
                f"a new or empty folder, or an earlier report of {_called(heading.name, heading.seed)}",
                "choose another --out; or, where that report is no longer wanted or this study only has a new name or seed,"
                " remove the folder; nothing was touched",
            )


def _studies_in(keys: PageKeys) -> set[tuple[str, Any]]:
    """Name and seed of the studies whose pages are on record; a record that tells no name is of the research object's."""
    found = {_study_of(record) for _, record in keys.records()}
    if any(not name for name, _ in found) or not found:
        found |= {(_name_by_crate(keys.report), None)}
    return found


def _study_of(record: Mapping[str, Any]) -> tuple[str, Any]:
    origin = record.get("origin")
    origin = origin if isinstance(origin, dict) else {}
    name, seed = origin.get("study"), origin.get("seed")
    return (name if isinstance(name, str) else "", seed if isinstance(seed, int) else None)


def _name_by_crate(report: Path) -> str:
    """The study's name as the research object has it, '' for none; the folder may be a stranger's."""
    path = report / CRATE
    if not path.is_file() or not is_inside(report, path):
        return ""
    try:
        for entity in entities_of(path, short=True):
            if isinstance(entity, dict) and entity.get("@id") == "./":
                return str(entity.get("name", "")).removeprefix(TITLE)
    except (ValueError, RecursionError):
        return ""
    return ""


def _called(name: str, seed: int | None) -> str:
    return name if seed is None else f"{name} (seed {seed})"
