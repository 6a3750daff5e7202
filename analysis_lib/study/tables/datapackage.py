"""The study folder as a Frictionless Data Package: its tables, column by column, and its recordings.

The descriptor follows Data Package version 2 (datapackage.org), with the unit of a column as a custom
property `unit`. It is made from the row models that check the tables, so the two cannot disagree about the columns that
the program knows. For the columns that a lab adds, the descriptor in the folder is the rule: whoever gives such a column
a type and constraints there has them enforced.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from analysis_lib.study.declared.schema import NO, YES, is_inside
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import Contents, read_contents
from analysis_lib.study.tables.derived_outcomes import GAS_COLUMNS, gas_columns
from analysis_lib.study.tables.rows import (
    BESIDE_COLUMNS,
    CALIBRATIONS,
    RIDERS,
    TRIALS,
    ZERO_CHECKS,
    TableKind,
)
from analysis_lib.study.tables.tables import read_table

FILE = "datapackage.json"
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
TABLE_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
REMEDY = f"correct what {FILE} says, or delete the file: nothing needs it"
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
    settings, root = contents.settings, contents.root
    recordings = [_recording_resource(root, file, size) for file, size in contents.bytes_of.items()]
    return {
        "$schema": PACKAGE_PROFILE,
        "name": _slug(settings.study.name),
        "title": settings.study.name,
        "description": settings.study.question,
        "resources": table_resources(contents) + recordings,
    }


def table_resources(contents: Contents) -> list[dict[str, Any]]:
    """Describe the tables of a study folder, column by column."""
    tables = [(RIDERS, contents.riders), (TRIALS, contents.trials), (ZERO_CHECKS, contents.zero_checks)]
    if (contents.root / CALIBRATIONS.file).is_file():
        tables.append((CALIBRATIONS, read_table(contents.root, CALIBRATIONS).frame))
    return [
        _table_resource(kind, [str(name) for name in frame if name not in BESIDE_COLUMNS], contents.settings)
        for kind, frame in tables
    ]


def write_package(root: Path) -> Path:
    """Write datapackage.json into a study folder; of one that is there, what a lab says of its own columns is kept.

    Raises
    ------
    Refusals
        When study.toml or a whole table cannot be used.
    """
    contents, _ = read_contents(root)
    descriptor = describe_package(contents)
    described = described_resources(root)[0]
    for resource in descriptor["resources"]:
        if "schema" in resource:
            own = own_fields(described.get(resource["path"], {}), resource)
            fields = resource["schema"]["fields"]
            resource["schema"]["fields"] = [own.get(field["name"], field) for field in fields]
    return _write(root, descriptor)


def write_empty_package(root: Path) -> Path:
    """Write the descriptor of a folder still to be filled in: its columns, and nothing that study.toml decides."""
    tables = [
        _table_resource(kind, list(kind.columns), None)
        for kind in (RIDERS, TRIALS, ZERO_CHECKS, CALIBRATIONS)
    ]
    return _write(root, {"$schema": PACKAGE_PROFILE, "name": "study", "resources": tables})


def _write(root: Path, descriptor: dict[str, Any]) -> Path:
    path = root / FILE
    text = json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def sha256_of_recording(path: Path) -> str:
    """Return a file's SHA-256 as a descriptor writes it."""
    with path.open("rb") as stream:
        return f"sha256:{hashlib.file_digest(stream, 'sha256').hexdigest()}"


def described_resources(root: Path) -> tuple[dict[str, Any], str]:
    """Return the resources of a folder's descriptor by their path, and why it is none where it cannot be read."""
    path = root / FILE
    if not path.is_file() or not is_inside(root, path):
        return {}, ""
    try:
        resources = json.loads(path.read_text(encoding="utf-8"))["resources"]
        return {resource["path"]: dict(resource) for resource in resources}, ""
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        return {}, f"no descriptor ({error})"


def own_fields(described: dict[str, Any], actual: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return what a descriptor says of the columns that are a lab's own."""
    was = {field.get("name"): field for field in described.get("schema", {}).get("fields", [])}
    own = [field["name"] for field in actual["schema"]["fields"] if field == _unknown_column(field["name"])]
    return {name: was[name] for name in own if name in was}


def _table_resource(kind: TableKind, columns: list[str], settings: StudySettings | None) -> dict[str, Any]:
    """Describe a table; without settings nothing is said that study.toml decides."""
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


def _unknown_column(name: str) -> dict[str, Any]:
    return {"name": name, "type": "string"}


def _field(kind: TableKind, column: str, settings: StudySettings | None) -> dict[str, Any]:
    """Describe one column: of the row model, a declared outcome, or one that nothing uses."""
    if column in kind.known_columns:
        return _known_column(kind, column, settings)
    outcomes = settings.outcomes if settings else []
    outcome = next((part for part in outcomes if part.name == column and part.source == "trials"), None)
    if outcome is not None:
        return {"name": column, "type": "number", "description": outcome.label, "unit": outcome.unit}
    if kind is TRIALS and column in gas_columns(outcomes):
        return {"name": column, "type": "number", "description": GAS_COLUMNS[column], "unit": "L/min"}
    return _unknown_column(column)


def _known_column(kind: TableKind, column: str, settings: StudySettings | None) -> dict[str, Any]:
    described = kind.column_schema(column)
    field = {"name": column, "type": kind.column_type(column), "description": described["description"]}
    if "unit" in described:
        field["unit"] = described["unit"]
    if field["type"] == "boolean":
        field |= {"trueValues": _spellings(YES), "falseValues": _spellings(NO)}
    constraints = {name: described[name] for name in _CONSTRAINTS if name in described}
    if not kind.may_be_empty(column):
        constraints["required"] = True
    if settings and column in (known := _names_declared(settings)):
        constraints["enum"] = known[column]
    return {**field, "constraints": constraints} if constraints else field


def _names_declared(settings: StudySettings) -> dict[str, list[str]]:
    return {
        "sequence": list(settings.design.sequences),
        "ring": list(settings.rings),
        "intensity": settings.intensity_names,
        "recorder": list(settings.recorders),
    }


def _spellings(word: str) -> list[str]:
    return [word, word.capitalize(), word.upper()]


def _recording_resource(root: Path, file: str, size: int) -> dict[str, Any]:
    suffix = Path(file).suffix.lower()
    return {
        "name": _slug(file),
        # Without it the standard's own tools take every CSV and Parquet file for a table to check.
        "type": "file",
        "path": file,
        "format": suffix.lstrip("."),
        "mediatype": MEDIA_TYPES.get(suffix, "application/octet-stream"),
        "bytes": size,
        "hash": sha256_of_recording(root / file),
    }


def _slug(name: str) -> str:
    """Make a resource name: small letters, digits, dots, underscores and hyphens."""
    return re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-") or "study"
