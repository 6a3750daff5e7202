"""The same inputs give the same bytes, whatever the machine is set to and in whatever order the pages are made."""

import os
import subprocess
import sys

import pytest

from analysis_lib.reports.files.pdf_page import why_no_pdf
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.study.synthetic.synthetic import small_study

SETTINGS = (
    {"TZ": "UTC", "PYTHONHASHSEED": "0", "LC_ALL": "C", "COLUMNS": "40"},
    {"TZ": "Asia/Kathmandu", "PYTHONHASHSEED": "4242", "LC_ALL": "C.UTF-8", "COLUMNS": "200"},
)
"""Kathmandu is 5 h 45 min ahead of UTC, so that a clock anywhere shows in hours and minutes."""


def _report(study, out, settings, *options):
    command = [sys.executable, "-m", "analysis_lib", "report", str(study), "--out", str(out), *options]
    run = subprocess.run(command, env=os.environ | settings, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.long
def test_two_runs_under_other_settings_in_another_order_leave_the_same_bytes(tmp_path):
    """Executed notebooks, pages, figures, tables, results and records; PDF where it can be made.

    The second run is made in another folder from a copy of the study with later times of its files, its last rider
    first, then all with three kernels at a time.
    """
    for name in ("one", "two"):
        small_study(tmp_path / name / "study", riders=2, duration_s=8.0)
    for path in (tmp_path / "two" / "study").rglob("*"):
        os.utime(path, (2e9, 2e9))
    _report(tmp_path / "one" / "study", tmp_path / "one" / "report", SETTINGS[0], "--jobs", "1")
    for options in (("--rider", "R02"), ("--jobs", "3")):
        _report(tmp_path / "two" / "study", tmp_path / "two" / "another name", SETTINGS[1], *options)
    first, second = checksums(tmp_path / "one" / "report"), checksums(tmp_path / "two" / "another name")
    kinds = {name.rpartition(".")[2] for name in first}
    assert {"ipynb", "html", "svg", "png", "csv", "json"} <= kinds
    assert ("pdf" in kinds) == (not why_no_pdf())
    assert {name for name in first.keys() | second.keys() if first.get(name) != second.get(name)} == set()
