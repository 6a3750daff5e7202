"""Whether a folder that somebody named is there."""

from __future__ import annotations

import shlex
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import nearest_of
from analysis_lib.study.declared.settings import FILE


def check_study_folder(path: Path) -> None:
    """Refuse a study folder that is not there, in one line.

    Raises
    ------
    Refusal
    """
    wanted = f"a study folder, which holds {FILE}"
    check_folder(
        path, FILE, wanted, f"correct the path, or make one with: roundoval new {shlex.quote(path.name)}"
    )


def check_folder(path: Path, holds: str, wanted: str, remedy: str) -> None:
    """Refuse a path that leads to no folder, with the nearest name of a folder beside it that `holds` that file.

    Raises
    ------
    Refusal
    """
    if path.is_dir():
        return
    if path.exists():
        inside = (path.parent / holds).is_file()
        remedy = f"name the folder that it lies in: {path.parent}" if inside else "name a folder"
        raise Refusal(str(path), "a file", wanted, remedy)
    siblings = path.parent.iterdir() if path.parent.is_dir() else ()
    near = nearest_of(path.name, (place.name for place in siblings if (place / holds).is_file()))
    raise Refusal(str(path), "no such folder", wanted, f"did you mean {near!r}?" if near else remedy)
