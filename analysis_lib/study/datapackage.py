"""The study folder as a Frictionless Data Package: its tables, column by column, and its recordings.

The descriptor follows Data Package version 2 (datapackage.org), with the unit of a column as a custom
property `unit`. It is made from the row models that check the tables, so the two cannot disagree.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from analysis_lib.study.contents import Contents, about_study, about_trial, read_contents, rows_of
from analysis_lib.study.derived_outcomes import GAS_COLUMNS, gas_columns
from analysis_lib.study.problems import Problem, listed
from analysis_lib.study.rows import CALIBRATIONS, RIDERS, TRIALS, ZERO_CHECKS, TableKind
from analysis_lib.study.schema import NO, YES
from analysis_lib.study.settings import StudySettings
from analysis_lib.study.tables import read_table

FILE = "datapackage.json"
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
TABLE_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
REMEDY = "write it anew: analysis_lib.study.datapackage.write_package(DIR)"
MEDIA_TYPES = {".csv": "text/csv", ".parquet": "application/vnd.apache.parquet"}

#: Constraints that JSON Schema and Table Schema call by the same name.
_CONSTRAINTS = ("pattern", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")


def describe_package(contents: Contents) -> dict[str, Any]:
    """Describe a study folder.

    Parameters
    ----------
    contents : Contents
        The folder's settings and tables.

    Returns
    -------
    dict
        The descriptor: a resource with a schema for each table, and for each recording its size and sha256.
    """
    settings = contents.settings
    tables = [(RIDERS, contents.riders), (TRIALS, contents.trials), (ZERO_CHECKS, contents.zero_checks)]
    if (contents.root / CALIBRATIONS.file).is_file():
        tables.append((CALIBRATIONS, read_table(contents.root, CALIBRATIONS).frame))
    resources = [
        _table_resource(kind, [str(name) for name in frame if name != "row"], settings)
        for kind, frame in tables
    ]
    files = sorted({file for file in contents.trials["file"] if file and (contents.root / file).is_file()})
    return {
        "$schema": PACKAGE_PROFILE,
        "name": _slug(settings.study.name),
        "title": settings.study.name,
        "description": settings.study.question,
        "resources": resources + [_recording_resource(contents.root, file) for file in files],
    }


def write_package(root: Path) -> Path:
    """Write datapackage.json into a study folder, over one that is there.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be used.
    """
    contents, _ = read_contents(root)
    path = root / FILE
    text = json.dumps(describe_package(contents), indent=1, ensure_ascii=False) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def check_package(contents: Contents) -> list[Problem]:
    """Compare the datapackage.json of a folder, where there is one, with the folder itself.

    Returns
    -------
    list of Problem
        A recording that is not the file it was is an error of its trial; anything else is a note.
    """
    path = contents.root / FILE
    if not path.is_file():
        return []
    try:
        resources = json.loads(path.read_text(encoding="utf-8"))["resources"]
        described = {resource["path"]: resource for resource in resources}
    except (ValueError, KeyError, TypeError) as error:
        return [about_study(FILE, f"no descriptor ({error})", "a Data Package", REMEDY, "note")]
    actual = {resource["path"]: resource for resource in describe_package(contents)["resources"]}
    problems = [
        about_study(f"{FILE}, {file}", got, "the columns and units of the table", REMEDY, "note")
        for file in (RIDERS.file, TRIALS.file, ZERO_CHECKS.file, CALIBRATIONS.file)
        if file in actual and (got := _difference(described.get(file, {}), actual[file]))
    ]
    for trial in rows_of(contents.trials):
        was, now = described.get(trial.file, {}).get("hash"), actual.get(trial.file, {}).get("hash")
        if was and now and was != now:
            remedy = f"put the recording back as it was; if the change is meant, {REMEDY}"
            got = f"{trial.file} with other bytes than {FILE} says"
            problems.append(about_trial(trial, "file", got, "recordings are never changed", remedy))
    unlisted = sorted(set(actual) - set(described))
    if unlisted:
        problems.append(about_study(FILE, f"nothing about {listed(unlisted)}", "every file", REMEDY, "note"))
    return problems


def _difference(described: dict[str, Any], actual: dict[str, Any]) -> str:
    """Say in which columns two table resources differ, or ""."""
    was = {field.get("name"): field for field in described.get("schema", {}).get("fields", [])}
    now = {field["name"]: field for field in actual["schema"]["fields"]}
    differing = [name for name in {**was, **now} if was.get(name) != now.get(name)]
    return f"something else about {listed(differing)}" if differing else ""


def _table_resource(kind: TableKind, columns: list[str], settings: StudySettings) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "$schema": TABLE_PROFILE,
        "fields": [_field(kind, column, settings) for column in columns],
        "missingValues": [""],
    }
    if kind in (RIDERS, TRIALS):
        schema["primaryKey"] = [kind.columns[0]]
    if kind is TRIALS:
        reference = {"resource": _slug(Path(RIDERS.file).stem), "fields": ["rider"]}
        schema["foreignKeys"] = [{"fields": ["rider"], "reference": reference}]
    return {
        "name": _slug(Path(kind.file).stem),
        "type": "table",
        "path": kind.file,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(kind: TableKind, column: str, settings: StudySettings) -> dict[str, Any]:
    """Describe one column: of the row model, a declared outcome, or one that nothing uses."""
    outcome = next(
        (part for part in settings.outcomes if part.name == column and part.source == "trials"), None
    )
    if outcome is not None and column not in kind.columns:
        return {"name": column, "type": "number", "description": outcome.label, "unit": outcome.unit}
    if column in gas_columns(settings.outcomes) and kind is TRIALS:
        return {"name": column, "type": "number", "description": GAS_COLUMNS[column], "unit": "L/min"}
    if column not in kind.columns:
        return {"name": column, "type": "string"}
    described = kind.column_schema(column)
    field = {"name": column, "type": kind.column_type(column), "description": described["description"]}
    if "unit" in described:
        field["unit"] = described["unit"]
    if field["type"] == "boolean":
        field |= {"trueValues": _spellings(YES), "falseValues": _spellings(NO)}
    constraints = {name: described[name] for name in _CONSTRAINTS if name in described}
    if not kind.may_be_empty(column):
        constraints["required"] = True
    known = {
        "sequence": list(settings.design.sequences),
        "ring": list(settings.rings),
        "intensity": settings.intensity_names,
        "recorder": list(settings.recorders),
    }
    if column in known:
        constraints["enum"] = known[column]
    return {**field, "constraints": constraints} if constraints else field


def _spellings(word: str) -> list[str]:
    return [word, word.capitalize(), word.upper()]


def _recording_resource(root: Path, file: str) -> dict[str, Any]:
    content = (root / file).read_bytes()
    suffix = Path(file).suffix.lower()
    return {
        "name": _slug(file),
        # Without it the standard's own tools take every CSV and Parquet file for a table to check.
        "type": "file",
        "path": file,
        "format": suffix.lstrip("."),
        "mediatype": MEDIA_TYPES.get(suffix, "application/octet-stream"),
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
    }


def _slug(name: str) -> str:
    """Make a resource name: small letters, digits, dots, underscores and hyphens."""
    return re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-") or "study"
