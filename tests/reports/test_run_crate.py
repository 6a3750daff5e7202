"""The report folder as a research object: what RO-Crate 1.1 and Process Run Crate 0.5 ask for, read by the rocrate library.

The requirements are those of the two texts at w3id.org/ro/crate/1.1 and w3id.org/ro/wfrun/process/0.5, from memory; the
words that entities may use are read from the context that the rocrate library carries.
"""

import hashlib
import json
import tracemalloc
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
import pytest

from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.record import crate_reading
from analysis_lib.reports.record.crate_reading import entities_of
from analysis_lib.reports.record.page_origin import inputs_of_study, page_origin
from analysis_lib.reports.record.run_crate import FILE, entities_of_run, write_run_crate
from analysis_lib.reports.study.page_list import planned_pages
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study

rocrate = pytest.importorskip("rocrate.rocrate")

OF_WORKFLOW_RUNS = {"sha256"}
"""Terms of the workflow-run context, which the library does not carry."""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A study of two riders, R01-P1-easy's recording missing, and a folder as a run leaves it, R02's page failed."""
    root = tmp_path_factory.mktemp("crate")
    small_study(root / "study", riders=2, duration_s=4.0)
    file = pd.read_csv(root / "study" / "trials.csv", dtype=str).set_index("trial").loc["R01-P1-easy", "file"]
    (root / "study" / file).unlink()
    study, report = open_study(root / "study"), root / "report"
    keys = PageKeys(report)
    keys.open()
    (report / "index.html").write_text("<p>pages</p>")
    for plan in planned_pages(study):
        origin = page_origin(study, plan, report)
        for name in (plan.page, f"tables/{plan.stem}/rows.csv"):
            (report / name).parent.mkdir(parents=True, exist_ok=True)
            (report / name).write_text(plan.subject)
        cause = "no room for a result" if plan.rider == "R02" else ""
        page = {"subject": plan.subject, "name": plan.name, "page": plan.page, "notebook": "", "cause": cause}
        keys.keep(plan.subject, "failed" if cause else "k", page, plan.roots, origin)
    write_run_crate(report, study)
    return study, report, file


def crate_of(report):
    return rocrate.ROCrate(report)


def actions_of(crate):
    return {action["name"].split()[-1]: action for action in crate.root_dataset["mentions"]}


def test_the_library_reads_it_and_finds_every_file(made):
    crate = crate_of(made[1])
    assert crate.version == "1.1"
    here = [part for part in crate.data_entities if not part.id.startswith("ni:")]
    assert len(here) == 1 + 2 * 4  # the first page; page and table of two riders, the data and the study
    for part in here:
        path = made[1] / unquote(part.id)
        assert part["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_root_has_what_the_specification_demands(made):
    root = crate_of(made[1]).root_dataset
    assert root["conformsTo"][0]["name"] == "Process Run Crate"
    assert root["conformsTo"][0].id == "https://w3id.org/ro/wfrun/process/0.5"
    assert root["name"] and root["description"] and root["license"]["description"]
    last = pd.to_datetime(pd.read_csv(made[0].root / "zero_checks.csv")["checked_at"]).max()
    assert root["datePublished"] == last.strftime("%Y-%m-%d")


def test_each_page_is_one_action_with_program_objects_and_results(made):
    actions = actions_of(crate_of(made[1]))
    assert set(actions) == {"riders/R01.html", "riders/R02.html", "data_quality.html", "study.html"}
    action = actions["riders/R01.html"]
    assert action.type == "CreateAction"
    assert action["instrument"]["name"] == "roundoval"
    needed = {package["name"] for package in action["instrument"]["softwareRequirements"]}
    assert {"python", "numpy", "pandas"} <= needed
    assert {result.id for result in action["result"]} == {"riders/R01.html", "tables/riders/R01/rows.csv"}
    values = {part["name"]: part["value"] for part in action["object"] if part.type == "PropertyValue"}
    assert values["rider"] == "R01" and values["seed"] == made[0].settings.study.seed
    names = {part["name"] for part in action["object"] if part.type == "File"}
    assert {"study/study.toml", "study/riders.csv", "notebooks/03_rider_report.ipynb"} <= names
    assert not any("R02" in name or "truth" in name or "generator" in name for name in names)
    assert "--rider R01" in action["description"]


def test_the_study_is_made_from_the_riders_tables(made):
    action = actions_of(crate_of(made[1]))["study.html"]
    assert "tables/riders/R01/rows.csv" in {part.id for part in action["object"]}


def test_failures_and_missing_inputs_are_on_record(made):
    actions = actions_of(crate_of(made[1]))
    failed = actions["riders/R02.html"]
    assert str(failed["actionStatus"]).endswith("/FailedActionStatus")
    assert failed["error"] == "no room for a result"
    assert str(actions["riders/R01.html"]["actionStatus"]).endswith("/CompletedActionStatus")
    assert f"missing: {made[2]}" in actions["riders/R01.html"]["description"]


def test_every_reference_leads_to_an_entity_and_every_word_is_in_the_context(made):
    context = json.loads((Path(rocrate.__file__).parent / "data" / "ro-crate.jsonld").read_text())["@context"]
    graph = json.loads((made[1] / FILE).read_text(encoding="utf-8"))["@graph"]
    known = {entity["@id"] for entity in graph}
    assert len(known) == len(graph)
    for entity in graph:
        for word, value in entity.items():
            assert word in context or word in OF_WORKFLOW_RUNS or word.startswith("@"), word
            values = value if isinstance(value, list) else [value]
            for part in values:
                if isinstance(part, dict) and not part["@id"].startswith(
                    ("http://schema.org/", "https://w3id")
                ):
                    assert part["@id"] in known


def test_it_names_no_place_of_this_machine_and_comes_out_the_same_again(made):
    study, report, _ = made
    text = (report / FILE).read_text(encoding="utf-8")
    assert str(study.root.parent) not in text
    assert Path.home().name not in text.split() and "/tmp/" not in text
    write_run_crate(report, study)
    assert (report / FILE).read_text(encoding="utf-8") == text
    assert next(entities_of_run(report, study))["@id"] == FILE
    assert list(entities_of(report / FILE)) == list(entities_of_run(report, study))


def test_only_what_is_read_is_an_input(made):
    names = set(inputs_of_study(made[0]))
    assert {"study.toml", "riders.csv", "trials.csv", "zero_checks.csv"} <= names
    assert not names & {"truth.json", "generator.json", "README.md"}
    assert inputs_of_study(made[0])[made[2]] == "missing"


@pytest.mark.parametrize("piece", [1, 7, 1 << 16])
@pytest.mark.parametrize("indent", [None, 1])
def test_entities_are_read_one_after_another_however_the_file_is_laid_out(
    tmp_path, monkeypatch, piece, indent
):
    monkeypatch.setattr(crate_reading, "PIECE", piece)
    graph = [{"@id": "a", "n": 12345, "deep": [{"@id": "é]},{"}]}, [], 17, "x"]
    path = tmp_path / "crate.json"
    whole = {"@context": {"@graph": 1}, "@graph": graph, "more": None}
    path.write_text(json.dumps(whole, indent=indent, ensure_ascii=False), encoding="utf-8")
    assert list(entities_of(path)) == graph
    assert list(entities_of(path, short=True)) == [{"@id": "a", "n": 12345, "deep": ["é]},{"]}, *graph[1:]]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{",
        '{"@graph": 1}',
        '{"@graph": [1}',
        '{"@graph": []} x',
        '{"@graph": [], "@graph": []}',
        '{"@graph": [1 2]}',
        '{"@graph": [1,]}',
    ],
)
def test_what_is_no_crate_is_refused(tmp_path, text):
    path = tmp_path / "crate.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError):
        list(entities_of(path))


def test_a_crate_of_many_entities_takes_no_more_memory_than_a_few(tmp_path):
    path = tmp_path / "crate.json"
    path.write_text(
        json.dumps({"@graph": [{"@id": f"file {place}", "x": "y" * 200} for place in range(20_000)]})
    )
    assert path.stat().st_size > 4_000_000
    tracemalloc.start()
    assert sum(1 for _ in entities_of(path)) == 20_000
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 800_000  # two pieces of text, their bytes, one entity
