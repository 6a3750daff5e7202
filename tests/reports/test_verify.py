"""A report is checked against its record, and every change is found and named."""

import json
import shutil

import pandas as pd
import pytest

from analysis_lib.__main__ import main
from analysis_lib.refusals import Refusal
from analysis_lib.reports.verify import compare_inputs, compare_tables, verify_report


@pytest.fixture
def report(one_trial_reports, tmp_path):
    shutil.copytree(one_trial_reports[0].folder, tmp_path / "report")
    return tmp_path / "report"


def _findings(checks):
    return {check.what: check.finding for check in checks}


def test_an_untouched_report_agrees_with_its_record(report):
    findings = _findings(verify_report(report, None))
    assert findings.pop("numbers") == "not checked"
    assert set(findings.values()) == {"agrees"}


def test_an_edited_page_and_another_version_are_named(report):
    page = report / "riders" / "R01.html"
    page.write_text(page.read_text().replace("W", "kW", 1))
    record = report / "run.json"
    text = record.read_text()
    start = text.index('"scipy": "') + len('"scipy": "')
    record.write_text(text[:start] + "0.1" + text[text.index('"', start) :])
    said = {check.what: check.details for check in verify_report(report, None) if check.finding == "differs"}
    assert "riders/R01.html" in said["files of R01"]
    assert "scipy 0.1 there" in said["versions of packages"]


def test_the_numbers_come_out_again_and_a_changed_input_is_named(one_trial_reports, report, tmp_path, capsys):
    study = tmp_path / "study"
    shutil.copytree(one_trial_reports[0].study, study)
    assert main(["verify", str(report), "--study", str(study)]) == 0
    assert "0 differs" in capsys.readouterr().out
    recording = next(iter((study / "recordings").iterdir()))
    recording.write_bytes(recording.read_bytes() + b" ")
    (check,) = compare_inputs(json.loads((report / "run.json").read_text()), study)
    assert check.finding == "differs"
    assert recording.name in check.details


def test_a_number_that_differs_is_named_with_its_size_and_row():
    there = pd.DataFrame({"rider": ["R01", "R02"], "power_W": [200.0, 210.0], "note": ["", "x"]})
    assert compare_tables("t", there, there.assign(power_W=[200.0, 210.0 * (1 + 1e-8)])).finding == "agrees"
    check = compare_tables("t", there, there.assign(power_W=[200.0, 212.5]))
    assert check.finding == "differs"
    assert check.details == "power_W by up to 2.5 (row 2)"
    assert "words of note" in compare_tables("t", there, there.assign(note=["", "y"])).details
    assert "rows" in compare_tables("t", there, there.head(1)).details


def test_a_folder_without_a_record_is_refused(tmp_path):
    with pytest.raises(Refusal, match=r"no run\.json"):
        verify_report(tmp_path, None)
