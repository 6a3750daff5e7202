"""datapackage.json: what it says, and whether the standard's reference implementation agrees with it."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.tables.datapackage import write_package
from analysis_lib.study.template.template import write_template


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
    tiny.replace("recordings/T1.csv", "0.00,0.0", "0.00,0.1")  # of the same size: found when it is read
    study = open_study(tiny.root)
    with pytest.raises(Refusal, match="never changed") as caught:
        study.load_trial("T1")
    assert (caught.value.scope, caught.value.trial) == ("trial", "T1")
    assert study.load_trial("T2").value("power_W") > 100
    tiny.replace("recordings/T1.csv", "0.00,0.1", "0.00,0.12")
    (problem,) = problems_of(tiny)
    assert (problem.severity, problem.trial) == ("error", "T1")
    assert "never changed" in str(problem) and "or delete the file: nothing needs it" in problem.remedy


def test_other_differences_are_notes(tiny):
    write_package(tiny.root)
    tiny.replace("riders.csv", "age_band", "age")
    tiny.replace("study.toml", 'unit = "1/min"', 'unit = "bpm"')
    (tiny.root / "recordings" / "T9.csv").write_text("x", encoding="utf-8")
    tiny.replace("trials.csv", "recordings/T8.csv", "recordings/T9.csv")
    notes = problems_of(tiny)
    assert {note.severity for note in notes} == {"note"}
    text = " ".join(map(str, notes))
    assert "no entry for column age –" in text and "an entry for column age_band, which" in text
    assert "something else about column hr_bpm" in text and "nothing about recordings/T9.csv" in text


def describe_own(tiny, table, name, cells, **field):
    """Add a lab's own column with its cells to a table, and say in the descriptor what it holds."""
    lines = (tiny.root / table).read_text(encoding="utf-8").splitlines()
    values = [name, *cells, *[""] * len(lines)]
    text = "\n".join(f"{line},{value}" for line, value in zip(lines, values, strict=False)) + "\n"
    (tiny.root / table).write_text(text, encoding="utf-8")
    descriptor = json.loads(write_package(tiny.root).read_text(encoding="utf-8"))
    resource = next(part for part in descriptor["resources"] if part["path"] == table)
    missing = field.pop("missing", [""])
    resource["schema"]["missingValues"] = missing
    fields = resource["schema"]["fields"]
    fields[[part["name"] for part in fields].index(name)] = {"name": name, **field}
    (tiny.root / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")


@pytest.mark.parametrize(
    ("cell", "field", "fault"),
    [
        ("7.2", {"type": "integer"}, "type-error"),
        ("seven", {"type": "number"}, "type-error"),
        ("perhaps", {"type": "boolean", "trueValues": ["y"], "falseValues": ["n"]}, "type-error"),
        ("2026-13-01", {"type": "date"}, "type-error"),
        ("12", {"type": "number", "constraints": {"minimum": 20}}, "constraint-error"),
        ("12", {"type": "number", "constraints": {"exclusiveMaximum": 12}}, "constraint-error"),
        ("green", {"type": "string", "constraints": {"enum": ["red", "blue"]}}, "constraint-error"),
        ("abcd", {"type": "string", "constraints": {"maxLength": 3}}, "constraint-error"),
        ("", {"type": "string", "constraints": {"required": True}}, "constraint-error"),
        (
            "NA",
            {"type": "string", "constraints": {"required": True}, "missing": ["", "NA"]},
            "constraint-error",
        ),
    ],
)
def test_the_schema_of_a_labs_own_column_is_enforced_as_the_reference_implementation_does(
    tiny, cell, field, fault
):
    describe_own(tiny, "riders.csv", "own", [cell], **field)
    assert (fault, "own") in {
        tuple(row) for row in validate_outside(tiny.root).flatten(["type", "fieldName"])
    }
    errors = [str(error) for error in open_study(tiny.root).errors]
    assert len(errors) >= 1 and all("riders.csv, row" in error and "column own" in error for error in errors)


@pytest.mark.parametrize(
    ("cells", "field"),
    [
        (["7", "-3"], {"type": "integer", "constraints": {"unique": True, "minimum": -3}}),
        (["NA", "1.5e1"], {"type": "number", "missing": ["", "NA"]}),
        (["2026-03-02", ""], {"type": "date", "constraints": {"minimum": "2026-03-02"}}),
    ],
)
def test_what_fits_the_schema_of_a_labs_own_column_is_no_problem(tiny, cells, field):
    describe_own(tiny, "riders.csv", "own", cells, **field)
    assert validate_outside(tiny.root).valid
    assert problems_of(tiny) == []


def test_a_cell_that_breaks_a_labs_own_schema_takes_no_trial_away(tiny):
    describe_own(tiny, "trials.csv", "saddle_mm", ["low"], type="number")
    study = open_study(tiny.root)
    (error,) = [problem for problem in study.errors if "saddle_mm" in str(problem)]
    assert "trials.csv, row 2, column saddle_mm" in str(error)
    assert study.load_trial("T1").value("power_W") > 100


def test_a_value_that_stands_twice_where_each_must_be_unique(tiny):
    describe_own(tiny, "trials.csv", "label", ["a", "b", "a"], type="string", constraints={"unique": True})
    assert ["unique-error", "label", 4] in validate_outside(tiny.root).flatten(
        ["type", "fieldName", "rowNumber"]
    )
    assert ["row 4" in str(error) for error in open_study(tiny.root).errors] == [True]


def test_what_is_not_enforced_is_said(tiny):
    describe_own(tiny, "riders.csv", "own", ["aaa"], type="string", constraints={"pattern": "(a+)+b"})
    (note,) = problems_of(tiny)
    assert note.severity == "note" and "pattern" in str(note)


def test_a_descriptor_written_anew_keeps_what_a_lab_said_of_its_own_columns(tiny):
    describe_own(tiny, "riders.csv", "own", ["7"], type="integer", unit="mm")
    assert fields_of(descriptor_of(tiny.root), "riders")["own"] == {
        "name": "own",
        "type": "integer",
        "unit": "mm",
    }


@pytest.mark.parametrize(
    "field",
    [
        {"type": "number", "constraints": {"minimum": "low"}},
        {"type": "number", "constraints": ["minimum"]},
        {"type": "string", "constraints": {"enum": 3}},
        {"type": ["number"]},
    ],
)
def test_a_schema_that_cannot_be_read_is_noted_and_stops_nothing(tiny, field):
    describe_own(tiny, "riders.csv", "own", ["7"], **field)
    assert {problem.severity for problem in problems_of(tiny)} == {"note"}


def test_the_template_has_a_descriptor_that_stays_true_once_study_toml_is_filled_in(tmp_path, tiny):
    write_template(tmp_path / "new")
    assert validate_outside(tmp_path / "new").valid
    (tiny.root / "datapackage.json").write_bytes((tmp_path / "new" / "datapackage.json").read_bytes())
    said = {str(problem.what): problem.got for problem in problems_of(tiny)}
    assert said == {  # columns that a lab or its study.toml has added since
        "datapackage.json, trials.csv": "no entry for column hr_bpm",
        "datapackage.json, riders.csv": "no entry for column age_band",
    }
    remedies = [problem.remedy for problem in problems_of(tiny)]
    entry = re.search(r"add (\{[^}]*\}) to the fields of trials\.csv there", " ".join(remedies))
    assert entry is not None
    descriptor = json.loads((tiny.root / "datapackage.json").read_text(encoding="utf-8"))
    (trials,) = [part for part in descriptor["resources"] if part["path"] == "trials.csv"]
    trials["schema"]["fields"].append(json.loads(entry[1]))
    (tiny.root / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    assert [str(problem.what) for problem in problems_of(tiny)] == ["datapackage.json, riders.csv"]
    trials["schema"]["fields"].append({"name": "mood", "type": "string"})
    (tiny.root / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    assert "an entry for column mood, which the table does not have" in {p.got for p in problems_of(tiny)}


def test_a_file_that_is_gone_is_noted_unless_it_is_optional_and_nobody_is_sent_to_a_function(tiny):
    header = "recorder,calibrated_at,channel,crank_deg,mass_kg,arm_mm,reading_Nm,note\n"
    (tiny.root / "calibrations.csv").write_text(header, encoding="utf-8")
    descriptor = descriptor_of(tiny.root)
    (tiny.root / "calibrations.csv").unlink()
    assert problems_of(tiny) == []  # the guide says to delete it where nothing was calibrated
    gone = {"name": "old", "type": "file", "path": "recordings/old.csv", "bytes": 7}
    descriptor["resources"].append(gone)
    (tiny.root / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    (note,) = problems_of(tiny)
    assert note.severity == "note" and note.got == "recordings/old.csv, no such file"
    assert note.remedy == "correct what datapackage.json says, or delete the file: nothing needs it"


def test_a_file_that_is_no_descriptor_is_noted(tiny):
    (tiny.root / "datapackage.json").write_text("{", encoding="utf-8")
    (note,) = problems_of(tiny)
    assert note.severity == "note" and "no descriptor" in str(note)


def test_the_reference_implementation_accepts_the_demo():
    report = validate_outside(Path(__file__).resolve().parents[2] / "data_synthetic" / "lantern_hill")
    assert report.valid, report.flatten(["type", "note"])
    assert report.stats["tasks"] == 3 + 139  # three tables, and each recording with its size and sha256
