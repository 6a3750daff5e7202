"""Only what changed is made again, and a run that was killed is finished by the next with the same bytes."""

import errno
import fcntl
import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter

import numpy as np
import pandas as pd
import pytest
from edits import edit_table, replace_in_settings

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files import run_record
from analysis_lib.reports.files.page_keys import StudyInputs, digest, page_key
from analysis_lib.reports.files.page_records import WAITING, PageKeys
from analysis_lib.reports.files.run_record import checksums, sha256_of
from analysis_lib.reports.files.whole_file import UNFINISHED, write_text_whole
from analysis_lib.reports.record.crate_reading import entities_of
from analysis_lib.reports.record.page_origin import frozen_plan, inputs_of_study
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.running.one_run import alone_in
from analysis_lib.reports.running.page_making import PageState, _waits
from analysis_lib.reports.running.runner import _Run, make_report
from analysis_lib.reports.running.verify import verify_report
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture
def finished(one_trial_report, tmp_path):
    """A copy of a study of one rider and of its finished report."""
    first = one_trial_report
    shutil.copytree(first.study, tmp_path / "study")
    shutil.copytree(first.folder, tmp_path / "report")
    return tmp_path / "study", tmp_path / "report"


def _again(study, report, **options):
    return make_report(study, report, say=lambda line: None, **options)


def test_nothing_changed_makes_nothing_and_gives_the_same_bytes_at_once(finished):
    before, began = checksums(finished[1]), time.monotonic()
    again = _again(*finished)
    assert all(page.unchanged for page in again.pages)
    assert again.exit_code == 0
    assert checksums(finished[1]) == before
    assert time.monotonic() - began < 10


def test_a_rider_without_trials_waits_and_is_no_failure(finished):
    study, report = finished
    (study / "datapackage.json").unlink(missing_ok=True)
    edit_table(study, "riders.csv", lambda riders: pd.concat([riders, riders.assign(rider="R02")]))
    said = []
    first = make_report(study, report, subjects={"R02"}, say=said.append)
    assert [(page.words, page.made, page.failed) for page in first.pages] == [(WAITING, False, False)]
    assert first.exit_code == 0 and first.summary.splitlines()[2:4] == [
        "failed    0",
        f"waiting   1   {first.pages[0].seconds:.1f} s of work, longest {first.pages[0].seconds:.1f} s (Rider R02)",
    ]
    assert "Rider R02: waiting: no trials yet (" in said[-1]
    assert "No trial of Rider R02 is listed" in (report / "riders" / "R02.html").read_text()
    assert json.loads((report / "run.json").read_text())["states"]["R02"] == WAITING
    (action,) = (part for part in entities_of(report / CRATE) if part["@id"] == "#make-R02")
    assert action["actionStatus"] == {"@id": "http://schema.org/PotentialActionStatus"}
    assert WAITING in action["description"] and "error" not in action
    assert {check.what: check.finding for check in verify_report(report, None)}["run.json"] == "agrees"
    before = checksums(report)
    again = make_report(study, report, subjects={"R02"}, say=lambda _: None)
    assert again.pages[0].unchanged and again.exit_code == 0 and checksums(report) == before


def test_a_rider_whose_only_trial_has_a_bad_cell_does_not_wait(tmp_path):
    study, page = tmp_path / "study", PlannedPage("R01", "Rider R01", "", "", "", {}, "R01")
    small_study(study, riders=1, duration_s=4.0)
    edit_table(study, "trials.csv", lambda trials: trials.head(1))
    assert not _waits(open_study(study), page)
    edit_table(study, "trials.csv", lambda trials: trials.assign(visit="one"))
    assert not _waits(open_study(study), page)
    edit_table(study, "trials.csv", lambda trials: trials.head(0))
    assert _waits(open_study(study), page)


def test_a_recording_is_read_once_and_again_when_another_lies_in_its_place(tmp_path, monkeypatch):
    read = []
    monkeypatch.setattr(run_record, "sha256_of", lambda path: read.append(1) or sha256_of(path))
    monkeypatch.setattr(run_record, "MOMENT_NS", 0)
    path = tmp_path / "T1.csv"
    path.write_text("one")
    time.sleep(0.02)  # longer than the clock of a file system stands still
    for _ in range(3):
        assert run_record.sha256_of_input(path) == hashlib.sha256(b"one").hexdigest()
    assert len(read) == 1
    times = path.stat()
    path.write_text("two")
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert run_record.sha256_of_input(path) == hashlib.sha256(b"two").hexdigest()
    monkeypatch.setattr(run_record, "MOMENT_NS", 10**18)
    path.write_text("three")
    for _ in range(2):
        assert run_record.sha256_of_input(path) == hashlib.sha256(b"three").hexdigest()
    assert len(read) == 4


def test_a_run_reads_each_recording_once(finished, monkeypatch):
    read = Counter()
    monkeypatch.setattr(run_record, "MOMENT_NS", 0)
    monkeypatch.setattr(run_record, "sha256_of", lambda path: read.update([path.name]) or sha256_of(path))
    _again(*finished)
    (recording,) = (finished[0] / "recordings").iterdir()
    assert read[recording.name] == 1


def test_a_run_loads_what_makes_pages_only_when_one_is_to_be_made():
    heavy = ("papermill", "nbconvert", "nbformat", "matplotlib", "statsmodels", "weasyprint")
    code = "import sys, analysis_lib.__main__, analysis_lib.reports.running.runner; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert not set(heavy) & set(loaded.split())


def test_a_changed_input_or_an_edited_page_is_noticed(finished):
    _, report = finished
    keys = PageKeys(report)
    key = keys.of("R01")["key"]
    assert keys.unchanged("R01", key)
    assert not keys.unchanged("R01", digest({"inputs": "other"}))
    page = report / "riders" / "R01.html"
    page.write_text(page.read_text().replace("Rider", "Ridder", 1))
    assert not keys.unchanged("R01", key)
    page.unlink()
    assert not keys.unchanged("R01", key)


def test_a_key_follows_from_values_and_not_from_their_order():
    assert digest({"a": 1, "b": [2]}) == digest({"b": [2], "a": 1})
    assert digest({"a": 1}) != digest({"a": 2})


def _key_of(study_dir, rider="R01"):
    study = open_study(study_dir)
    return page_key(study, "03_rider_report.ipynb", {"rider": rider}, StudyInputs(study).of_rider(rider))


def test_a_key_follows_from_every_file_that_the_page_reads_and_from_no_other(tmp_path):
    """The ring's outline, the descriptor's checksums and the rider's own recordings; nobody else's."""
    study = tmp_path / "study"
    small_study(study, riders=2, duration_s=4.0)
    turn = np.radians(np.arange(0, 360, 5))
    settings = re.sub(
        r"axis_ratio = 1\.[0-9]*[1-9]", 'outline = "ring.csv"', (study / "study.toml").read_text()
    )
    (study / "study.toml").write_text(settings)

    def write_outline(ratio):
        longer, shorter = 101 * ratio**0.5, 101 / ratio**0.5  # 50 teeth of half an inch around
        points = pd.DataFrame({"forward_mm": longer * np.cos(turn), "upward_mm": shorter * np.sin(turn)})
        points.to_csv(study / "ring.csv", index=False)

    keys = []
    write_outline(1.10)
    keys.append(_key_of(study))
    write_outline(1.12)
    keys.append(_key_of(study))
    descriptor = json.loads((study / "datapackage.json").read_text())
    own = next(part for part in descriptor["resources"] if "R01" in part["path"])
    own["hash"] = "sha256:" + "0" * 64
    (study / "datapackage.json").write_text(json.dumps(descriptor))
    keys.append(_key_of(study))
    for rider in ("R02", "R01"):
        recording = next((study / "recordings").glob(f"{rider}*"))
        recording.write_bytes(recording.read_bytes()[:-1] + b"x")
        keys.append(_key_of(study))
    assert [keys[place] == keys[place + 1] for place in range(4)] == [False, False, True, False]


def test_what_is_added_to_the_tables_for_one_rider_changes_no_other_riders_key(tmp_path):
    """A row put in above moves the others' rows; a later zero check and a study-wide note are not theirs."""
    study = tmp_path / "study"
    small_study(study, riders=2, duration_s=4.0)
    before = [_key_of(study, rider) for rider in ("R01", "R02")]
    trials, checks = study / "trials.csv", study / "zero_checks.csv"
    head, *rows = trials.read_text().splitlines(keepends=True)
    (study / "recordings" / "unlisted.csv").write_text("a recording that no trial names")
    trials.write_text(
        head + rows[0].replace("R01-P1", "R01-P9").replace(",no,", ",yes,again") + "".join(rows)
    )
    last = checks.read_text().splitlines()[-1]
    checks.write_text(checks.read_text() + re.sub(r"20\d\d-", "2031-", last) + "\n")
    after = [_key_of(study, rider) for rider in ("R01", "R02")]
    assert [one == other for one, other in zip(before, after, strict=True)] == [False, True]


def test_a_trial_without_a_check_on_either_side_follows_from_all_checks_of_its_recorder(tmp_path):
    """How far zero usually drifts is then asked of them all."""
    study = tmp_path / "study"
    small_study(study, riders=2, duration_s=4.0)
    checks = study / "zero_checks.csv"
    head, *rows = checks.read_text().splitlines(keepends=True)
    checks.write_text(head + "".join(rows[1:]))
    before = [_key_of(study, rider) for rider in ("R01", "R02")]
    checks.write_text(checks.read_text() + re.sub(r"20\d\d-", "2031-", rows[-1]))
    after = [_key_of(study, rider) for rider in ("R01", "R02")]
    assert [one == other for one, other in zip(before, after, strict=True)] == [False, True]


@pytest.fixture
def pretended(monkeypatch):
    """Runs that make no page: the riders' fail and leave a table with these words, the others have no file."""
    left = {"words": "1"}

    def make(run, plan):
        if plan.rider:
            write_text_whole(run.out / "tables" / "riders" / plan.rider / "trials.csv", left["words"])
        return PageState(plan.subject, plan.name, plan.page, "", "a fault" if plan.rider else "")

    monkeypatch.setattr(_Run, "_make", make)
    return left


def _made(study, report, **options):
    return [page.subject for page in _again(study, report, **options).pages if not page.unchanged]


def test_a_zero_check_near_no_trial_makes_the_pages_about_all_again(finished, pretended):
    """The page on the data shows it in its table of zero checks; no rider's page does."""
    study, report = finished
    checks = study / "zero_checks.csv"
    last = checks.read_text().splitlines()[-1]
    checks.write_text(checks.read_text() + re.sub(r"20\d\d-", "2031-", last) + "\n")
    assert _made(study, report) == ["the data", "the study"]


def test_the_pages_about_all_follow_from_what_a_failed_page_left(finished, pretended):
    assert _made(*finished, fresh=True) == ["R01", "the data", "the study"]
    assert _made(*finished) == ["R01"]  # it is tried again, and leaves the same
    pretended["words"] = "2"
    assert _made(*finished) == ["R01", "the data", "the study"]


def test_one_rider_s_page_made_afresh_leaves_the_other_pages(finished, pretended):
    study, report = finished
    before = checksums(report)
    assert _made(study, report, only_rider="R01", fresh=True) == ["R01"]
    after = checksums(report)
    touched = {name for name in before if after.get(name) != before[name] and "R01" not in name}
    records = {"keys/the_data.json", "keys/the_study.json"}  # R01 fails now, so both are out of date
    assert "study.html" in before and touched <= {"index.html", "index.pdf", "run.json", CRATE, *records}


def test_a_run_says_which_tables_changed_while_it_was_at_work(finished, pretended, monkeypatch):
    study, report = finished
    said, make = [], _Run._make

    def make_and_edit(run, plan):
        (study / "riders.csv").write_text((study / "riders.csv").read_text() + "\n")
        return make(run, plan)

    assert make_report(study, report, say=said.append).exit_code == 0
    assert not [line for line in said if "while the run was at work" in line]
    monkeypatch.setattr(_Run, "_make", make_and_edit)
    make_report(study, report, say=said.append, fresh=True)
    assert said[-1].startswith("riders.csv changed while the run was at work")


def test_settings_edited_while_a_run_is_at_work_are_news_to_the_next(tmp_path):
    """A run makes its pages from the study as it opened it; they are not to pass for pages of the file as it is now."""
    folder = tmp_path / "study"
    small_study(folder, riders=1, duration_s=4.0)
    opened = open_study(folder)

    def key(study):
        return page_key(study, "03_rider_report.ipynb", {}, StudyInputs(study).of_rider("R01"))

    before = key(opened)
    replace_in_settings(folder, "smallest_effect = 4.0", "smallest_effect = 5.0")
    assert key(opened) == before != key(open_study(folder))


def test_forgetting_removes_a_pages_files_and_no_others(finished):
    _, report = finished
    PageKeys(report).forget("R01")
    left = {path.relative_to(report).as_posix() for path in report.rglob("*") if path.is_file()}
    assert not any(name.startswith(("riders/", "tables/riders/", "figures/riders/")) for name in left)
    assert {"study.html", "data_quality.html", "run.json"} <= left


def test_a_strangers_record_removes_nothing_outside_the_report(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    report = tmp_path / "report"
    (report / "keys").mkdir(parents=True)
    (report / "R01.html").write_text("page")
    (report / "link").symlink_to(tmp_path)
    names = ("R01.html", "../thesis.txt", "link/thesis.txt", str(tmp_path / "thesis.txt"))
    (report / "keys" / "R01.json").write_text(json.dumps({"files": dict.fromkeys(names, "0")}))
    PageKeys(report).forget("R01")
    assert (tmp_path / "thesis.txt").read_text() == "mine"
    assert not (report / "R01.html").exists() and not (report / "keys" / "R01.json").exists()


def test_litter_of_a_killed_run_is_removed(finished):
    _, report = finished
    litter = report / "riders" / f"{UNFINISHED}x1"
    litter.write_text("half a pa")
    with alone_in(report):
        assert not litter.exists()


def test_a_second_run_in_the_same_folder_is_refused(finished):
    study, report = finished
    with alone_in(report), pytest.raises(Refusal, match="another run at work"):
        _again(study, report)


def test_a_second_run_forgets_no_page_of_the_first(finished):
    study, report = finished
    before = checksums(report)
    with alone_in(report), pytest.raises(Refusal, match="another run at work"):
        _again(study, report, fresh=True)
    assert checksums(report) == before


def test_storage_without_locks_is_not_taken_for_another_run(finished, monkeypatch):
    def refuse(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", refuse)
    with pytest.raises(Refusal, match=r"No locks available.*storage that can lock files"):
        _again(*finished)


def test_a_report_of_a_newer_format_is_left_alone(finished):
    study, report = finished
    (report / "keys" / "format.json").write_text(json.dumps({"format": 99}))
    before = checksums(report)
    with pytest.raises(Refusal, match="newer version"):
        _again(study, report)
    assert checksums(report) == before


@pytest.mark.long
@pytest.mark.parametrize("seconds", [1.5, 3.0, 5.0, 7.0])
def test_a_killed_run_is_finished_by_the_next_with_the_same_bytes(one_trial_report, tmp_path, seconds):
    first = one_trial_report
    command = first.again(tmp_path / "report")
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True)
    time.sleep(seconds)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    assert subprocess.run(command, check=False, stdout=subprocess.DEVNULL).returncode == 0
    assert checksums(tmp_path / "report") == checksums(first.folder)


def test_a_record_that_cannot_be_read_is_none_and_its_page_is_made_again(tmp_path):
    (tmp_path / "keys").mkdir()
    (tmp_path / "keys" / "format.json").write_text('{"format": 1}')
    pages = {"R05": [], "R06": {"subject": "R06"}, "R07": None}
    half = {name: json.dumps({"key": "x", "page": page, "files": {}}) for name, page in pages.items()}
    broken = {"R01": "{", "R02": "[" * 10_000, "R03": '["key"]', "R04": '{"key": "x"}'}
    for name, content in (broken | half).items():
        (tmp_path / "keys" / f"{name}.json").write_text(content)
    keys = PageKeys(tmp_path)
    keys.open()
    assert keys.subjects() == []
    assert not any(keys.unchanged(name, "x") for name in broken | half)


@pytest.mark.parametrize("content", ["{", "[1]", '{"format": "one"}', "{}"])
def test_a_mark_that_tells_no_format_is_refused(tmp_path, content):
    (tmp_path / "keys").mkdir()
    (tmp_path / "keys" / "format.json").write_text(content)
    with pytest.raises(Refusal, match="a report of format"):
        PageKeys(tmp_path).open()


def test_a_link_in_a_report_neither_clears_nor_fills_another_folder(tmp_path):
    (tmp_path / "mine" / "R01").mkdir(parents=True)
    (tmp_path / "mine" / "R01" / "notes.csv").write_text("mine")
    (tmp_path / "report" / "tables").mkdir(parents=True)
    (tmp_path / "report" / "tables" / "riders").symlink_to(tmp_path / "mine", target_is_directory=True)
    with pytest.raises(Refusal, match="tables/riders/R01, a link"):
        PageKeys(tmp_path / "report").clear(["tables/riders/R01"])
    assert (tmp_path / "mine" / "R01" / "notes.csv").read_text() == "mine"


def test_a_plan_that_is_a_link_out_of_the_study_lends_neither_names_nor_bytes(tmp_path):
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "letter.txt").write_text("secret")
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    (tmp_path / "study" / "plan").symlink_to(tmp_path / "outside", target_is_directory=True)
    study = open_study(tmp_path / "study")
    assert frozen_plan(study) == []
    assert not any("letter" in name for name in inputs_of_study(study))
