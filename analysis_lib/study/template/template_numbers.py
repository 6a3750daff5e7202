"""Numbers of the template that each lab must replace by its own, and which of them still stand."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.settings import FILE, StudySettings

TEMPLATE = Path(__file__).parent / "template_files" / FILE
MARK = "# YOURS: "


@cache
def marked_numbers() -> dict[tuple[str, str], object]:
    """Return the numbers that the template marks as the lab's own, by table and key."""
    found: dict[tuple[str, str], object] = {}
    table = ""
    for line in TEMPLATE.read_text(encoding="utf-8").splitlines():
        text = line.removeprefix("# ")
        if text.startswith("[") and text.endswith("]"):
            table = text.strip("[]")
        elif MARK in text:
            found |= {(table, key): number for key, number in tomllib.loads(text).items()}
    return found


def numbers_still_the_template_s(settings: StudySettings) -> list[Problem]:
    """Return a note for each marked number that is as it came.

    It may be the lab's own by chance, so it stops nothing.
    """
    declared = {
        table: part if isinstance(part, list) else [part] for table, part in settings.model_dump().items()
    }
    return [
        Problem(
            f"{FILE}, {table}.{key}",
            f"{number}, the template's example",
            "a number of your own",
            "replace it; nothing, if it is your own all the same",
            severity="note",
        )
        for (table, key), number in marked_numbers().items()
        if any(part is not None and part.get(key) == number for part in declared.get(table, ()))
    ]
