"""A report is checked against its records and made anew, and every change is found and named."""

import json
import os
import shutil
from pathlib import Path

import nbformat
import numpy as np
import pandas as pd
import pytest
from paper import require_printer

from analysis_lib.__main__ import main
from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.record.record_check import Check, check_inputs
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.table_comparison import table_differences
from analysis_lib.reports.running import verify
from analysis_lib.reports.running.verify import compare_files, tolerances_in_words, verify_report
from analysis_lib.reports.running.verify_words import last_line, table_of
from analysis_lib.study.checks.folder import Study, open_study


@pytest.fixture
def report(one_trial_report, tmp_path):
    shutil.copytree(one_trial_report.folder, tmp_path / "report")
    return tmp_path / "report"


def _findings(checks):
    return {check.what: check.finding for check in checks}


def _differences(checks):
    return {check.what: check.details for check in checks if check.finding == "differs"}


def _inputs(record, study):
    return check_inputs(record, study, open_study(study))


def _edit_record(report, **changes):
    record = json.loads((report / "run.json").read_text())
    (report / "run.json").write_text(json.dumps(record | changes))


def test_an_untouched_report_agrees_with_its_record(report):
    findings = _findings(verify_report(report, None))
    assert findings.pop("numbers") == findings.pop("inputs") == "not checked"
    assert set(findings.values()) == {"agrees"}


def test_an_edited_page_is_named_by_its_record_and_by_the_research_object(report):
    page = report / "riders" / "R01.html"
    page.write_text(page.read_text().replace("W", "kW", 1))
    said = _differences(verify_report(report, None))
    assert said == {"files of R01": "riders/R01.html was edited", CRATE: "riders/R01.html was edited"}


def test_an_edited_page_is_found_even_when_its_record_was_mended_to_match(report):
    page, record = report / "riders" / "R01.html", report / "keys" / "R01.json"
    page.write_text(page.read_text().replace("W", "kW", 1))
    from analysis_lib.reports.files.run_record import sha256_of

    content = json.loads(record.read_text())
    content["files"]["riders/R01.html"] = sha256_of(page)
    record.write_text(json.dumps(content))
    said = _differences(verify_report(report, None))
    assert set(said) == {CRATE}
    assert "another checksum than in keys/" in said[CRATE]


def test_an_edited_executed_notebook_is_named(report):
    path = report / "notebooks" / "study.ipynb"
    notebook = nbformat.read(path, as_version=4)
    notebook.cells[0].source += " (edited)"
    nbformat.write(notebook, path)
    assert (
        _differences(verify_report(report, None))["files of the study"] == "notebooks/study.ipynb was edited"
    )


def test_a_missing_file_and_a_foreign_one_are_named(report):
    (report / "tables" / "riders" / "R01" / "trials.csv").unlink()
    (report / "riders" / "R02.html").write_text("not ours")
    checks = verify_report(report, None)
    assert _differences(checks)["files of R01"] == "tables/riders/R01/trials.csv is missing"
    stranger = next(check for check in checks if check.what == "files without record")
    assert (stranger.finding, stranger.details) == ("not checked", "riders/R02.html")


def test_another_program_and_another_package_are_named(report):
    packages = json.loads((report / "run.json").read_text())["packages"]
    _edit_record(report, version="0.0.9", source="0" * 64, packages=packages | {"scipy": "0.1"})
    said = _differences(verify_report(report, None))
    assert "version 0.0.9 there" in said["program"] and "SHA-256 of the library 000" in said["program"]
    assert "scipy 0.1 there" in said["versions of packages"]
    assert CRATE in said  # the edited run.json itself


def test_a_record_that_leads_out_of_the_folder_opens_nothing(report, tmp_path):
    (tmp_path / "secret").write_text("x")
    record = json.loads((report / "keys" / "R01.json").read_text())
    record["files"]["../secret"] = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"
    (report / "keys" / "R01.json").write_text(json.dumps(record))
    assert "../secret leads out of the folder" in _differences(verify_report(report, None))["files of R01"]


def test_the_report_comes_out_again_to_the_byte_and_what_does_not_is_named(
    one_trial_report, report, tmp_path, capsys
):
    """One new run serves two questions: which untouched files agree, and what becomes of edited ones."""
    study = tmp_path / "study"
    shutil.copytree(one_trial_report.study, study)
    table = report / "tables" / "riders" / "R01" / "trials.csv"
    frame = pd.read_csv(table)
    frame.assign(kept_turns=frame["kept_turns"] + 1).to_csv(table, index=False)
    page = report / "study.html"
    page.write_text(page.read_text().replace("<h1>", "<h1>Not ", 1))
    _edit(report, "run.json", "seed", 99)
    _edit(report, "keys/the_data.json", "origin", "seed", 98)
    assert main(["verify", str(report), "--study", str(study), "--all"]) == 1
    lines = capsys.readouterr().out.splitlines()
    differing = {line.split()[0]: line for line in lines if "  differs" in line and "files of" not in line}
    assert set(differing) == {CRATE, "records", "run.json", "tables/riders/R01/trials.csv", "study.html"}
    assert "seed" in differing["run.json"] and "#the%20data-seed" in differing["records"]
    assert "kept_turns in 1 row (row 1" in differing["tables/riders/R01/trials.csv"]
    assert "<h1>Not " in differing["study.html"]
    agreeing = {line.split()[0]: line for line in lines if "  agrees" in line}
    for name in ("riders/R01.html", "notebooks/riders/R01.ipynb", "results.json", "index.html", "inputs"):
        assert name in agreeing
    assert any(name.startswith("figures/riders/R01/") and name.endswith(".svg") for name in agreeing)
    files = [
        line for name, line in agreeing.items() if Path(name).suffix in {".html", ".ipynb", ".svg", ".csv"}
    ]
    assert len(files) > 20 and all(line.endswith("byte for byte") for line in files)
    assert lines[-2].startswith("tolerances of tables: ")


def test_differences_come_first_each_on_its_own_and_what_agrees_is_counted_by_kind():
    tables = [Check(f"tables/riders/R0{n}/trials.csv", "agrees", "byte for byte") for n in range(1, 5)]
    tables.append(Check("tables/study/effect.csv", "agrees", "within the tolerances"))
    pages = [Check(f"files of R0{n}", "agrees", f"{50 + n} files as they were made") for n in range(1, 5)]
    pictures = [Check(f"figures/a/{n}.svg", "not checked", "drawn elsewhere") for n in range(4)]
    many = "; ".join(f"column {n}" for n in range(9))
    apart = [Check(f"tables/x/{n}.csv", "differs", many) for n in range(4)]
    others = [Check("program", "agrees", "the same"), Check("riders/R01.pdf", "agrees", "byte for byte")]
    checks = [*pages, others[0], *tables, apart[0], *pictures, others[1], *apart[1:]]
    rows = [line.split("  ") for line in table_of(checks)]
    some = "column 0; column 1; column 2; column 3; column 4; column 5; and 3 more"
    assert [[part.strip() for part in row if part.strip()] for row in rows] == [
        *([f"tables/x/{n}.csv", "differs", some] for n in range(4)),
        ["4 figures", "not checked", "4 drawn elsewhere"],
        ["4 pages by their records", "agrees", "210 files as they were made"],
        ["program", "agrees", "the same"],
        ["5 tables", "agrees", "4 byte for byte, 1 within the tolerances"],
        ["riders/R01.pdf", "agrees", "byte for byte"],
    ]
    everything = table_of(checks, everything=True)
    assert [line.split("  ")[0] for line in everything] == [check.what for check in checks]
    assert everything[10].endswith(many)
    assert last_line(checks) == "4 differ, 4 not checked, 11 agree"


def test_a_report_whose_run_was_stopped_says_so_and_names_what_is_missing(report, capsys):
    """As a run leaves it: the record of the page in the making is gone, the word that a run is at work is there."""
    keys = PageKeys(report)
    keys.begin(["R01", "the data", "the study"])
    keys.forget("R01")
    assert main(["verify", str(report)]) == 1
    first, *_ = capsys.readouterr().out.splitlines()
    assert (
        first.startswith("run")
        and "stopped before its end, with no page yet of 1 of 3: R01; give the" in first
    )
    (report / "run.json").unlink()
    assert main(["verify", str(report)]) == 2
    assert (
        "got a run that was stopped before its end, with no page yet of 1 of 3: R01"
        in capsys.readouterr().err
    )


def test_changed_missing_and_new_inputs_are_named(one_trial_report, report, tmp_path):
    study = tmp_path / "study"
    shutil.copytree(one_trial_report.study, study)
    record = json.loads((report / "run.json").read_text())
    (study / "truth.json").write_text("{}")  # nothing reads it
    assert _findings(_inputs(record, study)) == {"inputs": "agrees"}
    recording = next(iter((study / "recordings").iterdir()))
    content = recording.read_bytes()
    recording.write_bytes(content + b" ")
    assert f"{recording.name} was edited" in _differences(_inputs(record, study))["inputs"]
    recording.unlink()
    assert f"{recording.name} is missing" in _differences(_inputs(record, study))["inputs"]
    recording.write_bytes(content)
    (study / "plan").mkdir()
    (study / "plan" / "protocol.toml").write_text("")
    assert "plan/protocol.toml is new" in _differences(_inputs(record, study))["inputs"]


def test_a_study_that_cannot_be_opened_is_said_and_not_computed(report, tmp_path, capsys):
    (tmp_path / "study").mkdir()
    assert main(["verify", str(report), "--study", str(tmp_path / "study")]) == 1
    said = capsys.readouterr().out
    assert "study.toml is missing" in said and "no report can be made from this study" in said


def test_the_study_is_opened_once(one_trial_report, report, monkeypatch):
    opened, given = [], []

    def count(path):
        opened.append(open_study(path))
        return opened[-1]

    def stand_in(study, *_, **__):
        given.append(study)
        raise Refusal("kernels", "none", "some", "nothing")

    monkeypatch.setattr(verify, "open_study", count)
    monkeypatch.setattr(verify, "make_report", stand_in)
    *_, last = verify_report(report, one_trial_report.study)
    assert given == opened and len(opened) == 1 and isinstance(given[0], Study)
    assert last.finding == "not checked" and "kernels – got none" in last.details


@pytest.mark.parametrize(
    ("file", "change", "finding"),
    [
        ("study.pdf", b" ", "files of the study"),
        ("index.html", b" ", CRATE),
        ("tables/riders/R01/trials.csv", b" ", "files of R01"),
        ("figures/riders/R01/torque_polar.svg", b" ", "files of R01"),
        ("keys/R01.json", None, "run.json"),
    ],
)
def test_each_kind_of_file_is_named_when_it_was_edited_or_taken_away(report, file, change, finding):
    if file.endswith(".pdf"):
        require_printer()
    if change:
        (report / file).write_bytes((report / file).read_bytes() + change)
    else:
        (report / file).unlink()
    said = _differences(verify_report(report, None))
    assert Path(file).name in said[finding] or Path(file).stem in said[finding]


def test_whatever_no_record_knows_is_named_also_links_and_what_hides_among_the_keys(report, tmp_path):
    (report / ".hidden").write_text("x")
    (report / "keys" / "x.html").write_text("x")
    (report / "more").symlink_to(tmp_path, target_is_directory=True)
    os.mkfifo(report / "pipe")
    found = {check.what: check.details for check in verify_report(report, None)}
    assert found["files without record"] == ".hidden, keys/x.html, more, pipe"


def _edit(report, file, *path_and_value):
    *path, last, value = path_and_value
    content = json.loads((report / file).read_text())
    part = content
    for name in path:
        part = part[name]
    part[last] = value
    (report / file).write_text(json.dumps(content))


@pytest.mark.parametrize(
    ("file", "edit", "said"),
    [
        ("keys/format.json", ("format", 99), "got format 99, by roundoval"),
        ("keys/format.json", ("format", "x"), "no format"),
        ("run.json", ("inputs", []), "no inputs"),
        ("run.json", ("packages", [1]), "no packages"),
        ("run.json", ("states", {"R01": 1}), "no states"),
        ("keys/R01.json", ("files", "abc"), "no files"),
        ("keys/R01.json", ("files", {"a": 1}), "no files"),
        ("keys/R01.json", ("page", ["x"]), "no page"),
        ("keys/R01.json", ("page", "subject", "R02"), "a record of 'R02'"),
        (CRATE, ("@graph", "x"), "no @graph"),
        (CRATE, ("@graph", [{"@type": "File", "@id": 3}]), "an entity without"),
    ],
)
def test_records_of_a_newer_version_or_of_any_other_content_are_bad_input(report, file, edit, said, capsys):
    _edit(report, file, *edit)
    assert main(["verify", str(report)]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("name", ["a\0b", "a" * 300, "a\ud800", "../../x"])
def test_a_name_that_no_file_can_have_is_a_difference(report, name):
    _edit(report, "keys/R01.json", "files", name, "0" * 64)
    said = _differences(verify_report(report, None))["files of R01"]
    assert "cannot be read" in said or "leads out of the folder" in said


@pytest.mark.parametrize("target", ["/dev/zero", "/etc/passwd", None])
def test_a_record_that_is_a_pipe_or_a_link_out_of_the_folder_is_not_opened(report, target):
    """Each of the first and the last would be read without end."""
    path = report / "keys" / "R02.json"
    os.mkfifo(path) if target is None else path.symlink_to(target)
    with pytest.raises(Refusal, match=r"R02\.json – got no file of the report"):
        verify_report(report, None)


def test_a_folder_without_a_record_or_with_a_broken_one_is_bad_input(tmp_path, capsys):
    with pytest.raises(Refusal, match=r"no run\.json"):
        verify_report(tmp_path, None)
    (tmp_path / "run.json").write_text("[1")
    assert main(["verify", str(tmp_path)]) == 2
    assert "run.json" in capsys.readouterr().err


def test_numbers_are_compared_with_the_tolerance_of_their_kind():
    """The declared ones: a millionth; a thousand-millionth of the column; angles around the turn; words exactly."""
    there = pd.DataFrame({"rider": ["R01", "R02"], "power_W": [200.0, 210.5], "n": [5, 6], "note": ["", "x"]})
    assert table_differences(there, there.assign(power_W=[200.0, 210.5 * (1 + 1e-8)])) == []
    assert table_differences(there, there.assign(power_W=[200.0, 213.0])) == ["power_W by up to 2.5 (row 2)"]
    assert table_differences(there, there.assign(note=["", "y"])) == [
        "note in 1 row (row 2: 'x' there, 'y' here)"
    ]
    assert table_differences(there, there.assign(n=[5, 7])) == ["n in 1 row (row 2: '6' there, '7' here)"]
    assert table_differences(there, there.head(1)) == ["2 rows there, 1 rows here"]
    assert "power_W" in table_differences(there, there.drop(columns="power_W"))[0]
    small = pd.DataFrame({"change_W": [1000.5, 1e-9]})
    assert table_differences(small, small.assign(change_W=[1000.5, -1e-9])) == []
    assert table_differences(small, small.assign(change_W=[1000.5, 1e-3])) != []
    angle = pd.DataFrame({"phase_deg": [0.0000001, 90.5]})
    assert table_differences(angle, angle.assign(phase_deg=[359.9999999, 90.5])) == []
    assert table_differences(angle, angle.assign(phase_deg=[180.0, 90.5])) != []
    chance = pd.DataFrame({"p": [1e-12, 0.5]})
    assert table_differences(chance, chance.assign(p=[3e-12, 0.5])) == []
    assert table_differences(chance, chance.assign(p=[1e-12, 0.51])) != []
    assert len(tolerances_in_words()) == 4


def test_an_emptied_cell_and_a_number_turned_word_are_differences():
    there = pd.DataFrame({"power_W": [200.5, 210.5]})
    assert "empty in one of them" in table_differences(there, there.assign(power_W=[200.5, np.nan]))[0]
    assert table_differences(there, there.assign(power_W=["200.5", "none"])) != []
    assert table_differences(there, there.assign(power_W=[200.5, np.inf])) != []


def test_of_another_program_pictures_are_not_checked_and_pages_without_them(tmp_path):
    folders = tmp_path / "a", tmp_path / "b"
    for folder, picture, word in zip(folders, ("QUJD", "REVG"), ("same", "same"), strict=True):
        folder.mkdir()
        (folder / "x.html").write_text(f'<p>{word}</p><img src="data:image/svg+xml;base64,{picture}">')
        (folder / "x.svg").write_text(f"<svg>{picture}</svg>")

    def finding(name, same_program):
        return compare_files(name, folders[0] / name, folders[1] / name, same_program)

    assert [finding(name, same_program=True).finding for name in ("x.html", "x.svg")] == ["differs"] * 2
    assert finding("x.svg", same_program=False).finding == "not checked"
    assert finding("x.html", same_program=False).finding == "agrees"
    (folders[1] / "x.html").write_text("<p>other</p>")
    assert finding("x.html", same_program=False).finding == "differs"


def test_a_strangers_report_sends_nothing_to_the_terminal(tmp_path):
    one, two = tmp_path / "one.html", tmp_path / "two.html"
    one.write_text("<p>\x1b]0;title\x07</p>")
    two.write_text("<p></p>")
    assert not {"\x1b", "\x07"} & set(compare_files("\x1b[2J.html", one, two, True).details)
    assert compare_files("\x1b[2J.html", one, two, True).what == "·[2J.html"


def test_results_are_compared_value_by_value(tmp_path):
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    one.write_text(json.dumps({"study": "s", "outcomes": [{"estimates": [{"low": 1.5}]}]}))
    two.write_text(json.dumps({"study": "s", "outcomes": [{"estimates": [{"low": 1.75}]}]}))
    assert (
        compare_files("r.json", one, two, True).details == "outcomes.0.estimates.0.low by up to 0.25 (row 1)"
    )
    two.write_text("{")
    assert compare_files("r.json", one, two, True).finding == "differs"
