"""datapackage.json: what it says, and whether the standard's reference implementation agrees with it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from analysis_lib.study.datapackage import write_package
from analysis_lib.study.folder import open_study


def descriptor_of(root):
    return json.loads(write_package(root).read_text(encoding="utf-8"))


def fields_of(descriptor, table):
    resource = next(part for part in descriptor["resources"] if part["name"] == table)
    return {field["name"]: field for field in resource["schema"]["fields"]}


def test_columns_have_type_unit_and_constraints(tiny):
    trials = fields_of(descriptor_of(tiny.root), "trials")
    assert trials["mount_deg"]["type"] == "number" and trials["mount_deg"]["unit"] == "deg"
    assert trials["period"]["type"] == "integer" and trials["period"]["constraints"]["required"]
    assert trials["ring"]["constraints"]["enum"] == ["round", "oval"]
    assert trials["started_at"]["type"] == "datetime" and "constraints" not in trials["started_at"]
    assert trials["exclude"]["trueValues"] == ["yes", "Yes", "YES"]
    assert trials["hr_bpm"] == {
        "name": "hr_bpm",
        "type": "number",
        "description": "Heart rate",
        "unit": "1/min",
    }


def test_recordings_are_named_with_their_bytes(tiny):
    resource = next(
        part for part in descriptor_of(tiny.root)["resources"] if part["path"] == "recordings/T1.csv"
    )
    content = (tiny.root / "recordings/T1.csv").read_bytes()
    assert resource["bytes"] == len(content)
    assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()


def validate_outside(root):
    """Ask the reference implementation of the standard (frictionless)."""
    frictionless = pytest.importorskip("frictionless")
    return frictionless.Package((root / "datapackage.json").as_posix()).validate()


def test_the_reference_implementation_accepts_it(tiny):
    write_package(tiny.root)
    report = validate_outside(tiny.root)
    assert report.valid, report.flatten(["type", "note"])


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("trials.csv", "T3,R01,1,2,", "T3,R01,1,0,", "constraint-error"),
        ("trials.csv", "T3,R01,", "T3,R09,", "foreign-key"),
        ("trials.csv", "T3,R01,", "T1,R01,", "primary-key"),
        ("trials.csv", "2026-03-02T09:20:00", "yesterday", "type-error"),
        ("riders.csv", "70.5", "10", "constraint-error"),
        ("recordings/T1.csv", "torque", "twork", "hash-count"),
    ],
)
def test_the_reference_implementation_finds_by_it_what_the_library_finds(tiny, file, old, new, fault):
    write_package(tiny.root)
    tiny.replace(file, old, new)
    report = validate_outside(tiny.root)
    assert fault in {row[0] for row in report.flatten(["type"])}
    assert open_study(tiny.root).errors


def problems_of(tiny):
    return [problem for problem in open_study(tiny.root).problems if "datapackage" in str(problem)]


def test_a_package_that_fits_is_not_mentioned(tiny):
    write_package(tiny.root)
    assert problems_of(tiny) == []


def test_a_changed_recording_is_an_error_of_its_trial(tiny):
    write_package(tiny.root)
    tiny.replace("recordings/T1.csv", "0.00,0.0", "0.00,0.1")
    (problem,) = problems_of(tiny)
    assert (problem.severity, problem.trial) == ("error", "T1")
    assert "never changed" in str(problem)


def test_other_differences_are_notes(tiny):
    write_package(tiny.root)
    tiny.replace("riders.csv", "age_band", "age")
    tiny.replace("study.toml", 'unit = "1/min"', 'unit = "bpm"')
    (tiny.root / "recordings" / "T9.csv").write_text("x", encoding="utf-8")
    tiny.replace("trials.csv", "recordings/T8.csv", "recordings/T9.csv")
    notes = problems_of(tiny)
    assert {note.severity for note in notes} == {"note"}
    text = " ".join(map(str, notes))
    assert "age_band, age" in text and "hr_bpm" in text and "nothing about recordings/T9.csv" in text


def test_a_file_that_is_no_descriptor_is_noted(tiny):
    (tiny.root / "datapackage.json").write_text("{", encoding="utf-8")
    (note,) = problems_of(tiny)
    assert note.severity == "note" and "no descriptor" in str(note)


def test_the_reference_implementation_accepts_the_demo():
    report = validate_outside(Path(__file__).resolve().parents[2] / "data_synthetic" / "lantern_hill")
    assert report.valid, report.flatten(["type", "note"])
    assert report.stats["tasks"] == 3 + 139  # three tables, and each recording with its size and sha256
