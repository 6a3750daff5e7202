"""The datapackage.json of a study folder held against the folder itself.

What the program knows of its columns is enforced by the row models; here a lab's own columns are held to the schema that
the lab gave them, and recordings to their sizes and checksums.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import Problem, listed
from analysis_lib.study.tables.contents import Contents, about_study, about_trial
from analysis_lib.study.tables.datapackage import (
    FILE,
    REMEDY,
    described_resources,
    own_fields,
    sha256_of_recording,
    table_resources,
)
from analysis_lib.study.tables.rows import CALIBRATIONS, RIDERS, TRIALS, ZERO_CHECKS
from analysis_lib.study.tables.table_schema import column_faults, unchecked_parts
from analysis_lib.study.tables.tables import read_table

TABLE_FILES = (RIDERS.file, TRIALS.file, ZERO_CHECKS.file, CALIBRATIONS.file)
UNCHANGED = "recordings are never changed"
OR_DELETE = "or delete the file: nothing needs it"
PUT_BACK = f"put the recording back as it was; if the change is meant, {REMEDY}"


def check_package(contents: Contents) -> list[Problem]:
    """Compare the datapackage.json of a folder, where there is one, with the folder itself.

    Returns
    -------
    list of Problem
        A recording that is not the file it was is an error of its trial. A cell of a lab's own column that breaks the
        schema is an error of the study: it must be mended, and takes no trial away, because nothing is computed from
        it. Anything else is a note.
    """
    described, cause = described_resources(contents.root)
    if not described:
        return [_no_descriptor(cause)] if cause else []
    actual = {resource["path"]: resource for resource in table_resources(contents)}
    try:
        problems = [
            problem for file in TABLE_FILES for problem in _about_table(file, described, actual, contents)
        ]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        problems = [_no_descriptor(f"a schema that cannot be read: {type(error).__name__} {error}")]
    for trial in contents.trial_rows:
        was, now = described.get(trial.file, {}).get("bytes"), contents.bytes_of.get(trial.file)
        if was is not None and now is not None and was != now:
            got = f"{trial.file} of {now} bytes, of {was} by {FILE}"
            problems.append(about_trial(trial, "file", got, UNCHANGED, PUT_BACK))
    lists_recordings = any(resource.get("hash") for resource in described.values())
    unlisted = sorted({*actual, *contents.bytes_of} - set(described))
    named = set(contents.trials["file"])
    # A recording that is missing is its trial's error already; calibrations.csv is optional, as its descriptor is.
    may_be_gone = {*named, CALIBRATIONS.file}
    gone = sorted(
        path for path in described if path not in may_be_gone and not (contents.root / path).is_file()
    )
    if gone:
        problems.append(
            about_study(FILE, f"{listed(gone)}, no such file", "files of the folder", REMEDY, "note")
        )
    if unlisted and lists_recordings:
        problems.append(about_study(FILE, f"nothing about {listed(unlisted)}", "every file", REMEDY, "note"))
    return problems


def check_recording(root: Path, file: str) -> None:
    """Refuse a recording that is not the file that a folder's datapackage.json says, where there is one.

    Sizes are compared when a folder is opened; bytes here, when the recording is read, because a page of one rider need
    not read the recordings of a thousand.

    Raises
    ------
    Refusal
        When its SHA-256 is another.
    """
    was = described_checksum(root, file)
    if was.startswith("sha256:") and was != sha256_of_recording(root / file):
        raise Refusal(file, f"other bytes than {FILE} says", UNCHANGED, PUT_BACK)


def described_checksum(root: Path, file: str) -> str:
    """Return what the folder's descriptor says of a file, such as "sha256:..."; empty where it says nothing."""
    path = root / FILE
    if not path.is_file():
        return ""
    state = path.stat()
    return _checksums(root, state.st_mtime_ns, state.st_size).get(file, "")


@lru_cache(maxsize=4)
def _checksums(root: Path, mtime_ns: int, size: int) -> dict[str, str]:
    """Checksums by the descriptor as it was at that time and size."""
    return {path: str(resource.get("hash", "")) for path, resource in described_resources(root)[0].items()}


def _no_descriptor(got: str) -> Problem:
    return about_study(FILE, got, "a Data Package", REMEDY, "note")


def _about_table(
    file: str, described: dict[str, Any], actual: dict[str, Any], contents: Contents
) -> Iterator[Problem]:
    """What a descriptor says otherwise of a table, and the cells of a lab's own columns that break its schema."""
    if file not in actual:
        return
    resource = described.get(file, {})
    for got, remedy in _differences(resource, actual[file]):
        yield about_study(f"{FILE}, {file}", got, "the columns and units of the table", remedy, "note")
    frame = {
        RIDERS.file: contents.riders,
        TRIALS.file: contents.trials,
        ZERO_CHECKS.file: contents.zero_checks,
    }
    missing = resource.get("schema", {}).get("missingValues", [""])
    for name, field in own_fields(resource, actual[file]).items():
        if unchecked := unchecked_parts(field):
            what = f"{FILE}, {file}, column {name}"
            yield about_study(what, listed(unchecked), "what check can enforce", "check it by eye", "note")
        rows = frame[file] if file in frame else read_table(contents.root, CALIBRATIONS).frame
        for fault in column_faults(list(rows[name]), field, missing):
            place = f"{file}, row {rows['row'].iloc[fault.position]}, column {name}"
            remedy = f"correct the cell, or what {FILE} says of the column"
            yield about_study(place, fault.got, f"{fault.wanted}, by {FILE}", remedy)


def _differences(described: dict[str, Any], actual: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Say where a descriptor contradicts a table, and what to do. It may say less of a column that is known."""
    was = {field.get("name"): field for field in described.get("schema", {}).get("fields", [])}
    now = {field["name"]: field for field in actual["schema"]["fields"]}
    if not was:
        yield "no column of the table", REMEDY
        return
    own = own_fields(described, actual)
    unlisted = [name for name in now if name not in was and name not in own]
    gone = [name for name in was if name not in now and name not in own]
    other = [name for name in was if name in now and name not in own and not _within(was[name], now[name])]
    if unlisted:
        entries = ", ".join(
            json.dumps({"name": name, "type": now[name].get("type", "any")}) for name in unlisted
        )
        yield (
            f"no entry for {_columns(unlisted)}",
            f"add {entries} to the fields of {actual['path']} there, {OR_DELETE}",
        )
    if gone:
        remedy = f"take it out of the fields of {actual['path']} there, {OR_DELETE}"
        yield f"an entry for {_columns(gone)}, which the table does not have", remedy
    if other:
        yield f"something else about {_columns(other)}", REMEDY


def _columns(names: list[str]) -> str:
    return f"column{'s' if len(names) > 1 else ''} {listed(names)}"


def _within(said: Any, true: Any) -> bool:
    """Whether everything that is said is true."""
    if isinstance(said, dict) and isinstance(true, dict):
        return all(key in true and _within(value, true[key]) for key, value in said.items())
    return bool(said == true)
