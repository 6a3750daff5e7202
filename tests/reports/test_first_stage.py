"""The first stage of a page: results of its recordings that lie ready are taken where they are the very same, else not."""

import errno
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports.execution.notebook_run import ONE_THREAD
from analysis_lib.reports.files import first_stage
from analysis_lib.reports.files.first_stage import VARIABLE, FirstStage, count_taken
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.running import cluster_worker
from analysis_lib.reports.running.cluster import _recordings_of
from analysis_lib.reports.running.cluster_worker import (
    WorkOrder,
    analyse_recording_here,
    facts_here,
    make_page_here,
)
from analysis_lib.reports.running.one_run import STAGES, alone_in
from analysis_lib.reports.running.page_making import PageMaking
from analysis_lib.reports.study.page_list import planned_pages
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.synthetic.synthetic import small_rings_study, small_study

TRIAL, BROKEN = "R01-P1-easy", "R01-P1-steady"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One rider, one of whose recordings cannot be read."""
    folder = tmp_path_factory.mktemp("stage") / "study"
    small_study(folder, riders=1, duration_s=8.0)
    trials = pd.read_csv(folder / "trials.csv", dtype=str).set_index("trial")
    broken = folder / trials.loc[BROKEN, "file"]
    broken.write_bytes(bytes(broken.stat().st_size))  # of the right size, so that only reading it tells
    return folder


@pytest.fixture
def study(folder):
    """The study, opened anew as a kernel or a worker does."""
    return open_study(folder)


@pytest.fixture(scope="module")
def filled(folder, tmp_path_factory):
    """The stage of the rider's page, and which of its recordings left a result there."""
    stage = FirstStage(tmp_path_factory.mktemp("stage") / "R01", open_study(folder))
    stage.folder.mkdir()
    trials = _recordings_of(stage.study, planned_pages(stage.study)[0])
    return stage.folder, {trial: stage.fill(trial) for trial in trials}


def test_every_usable_recording_leaves_its_result_and_one_that_refuses_none(study, filled):
    place, left = filled
    assert set(left) == set(study.trials["trial"])
    assert [trial for trial, there in left.items() if not there] == [BROKEN]
    assert len(list(place.iterdir())) == len(left) - 1


def test_a_page_about_all_has_no_recordings_of_its_own(study):
    assert [_recordings_of(study, plan) == [] for plan in planned_pages(study)] == [False, True, True]


def test_a_page_takes_what_lies_ready_meets_the_refusal_itself_and_says_the_same(study, filled, monkeypatch):
    plain = analyse_rider(study, "R01")
    monkeypatch.setenv(VARIABLE, str(filled[0]))
    before, read = count_taken(filled[0]), []
    ordinary = Study.load_trial
    monkeypatch.setattr(
        Study, "load_trial", lambda study, trial: read.append(trial) or ordinary(study, trial)
    )
    staged = analyse_rider(open_study(study.root), "R01")
    assert read == [BROKEN]
    assert (before, count_taken(filled[0])) == (0, len(plain.results))
    for name in ("trials", "quantities", "profiles", "budgets"):
        pd.testing.assert_frame_equal(getattr(staged, name), getattr(plain, name), check_exact=True)


def test_a_result_made_from_anything_else_is_not_taken(study, filled, monkeypatch):
    place, _ = filled
    there = {path.name for path in place.glob("*.npz")}
    name = FirstStage(place, study)._place(TRIAL).name
    assert name in there
    others = []
    for table, column in (("riders", "crank_length_mm"), ("zero_checks", "temperature_C")):
        frame = getattr(study, table)
        changed = {**vars(study), table: frame.assign(**{column: frame[column] + 1})}
        known = {key: value for key, value in changed.items() if key in Study.__dataclass_fields__}
        others.append(FirstStage(place, Study(**known))._place(TRIAL).name)
    for other in ("source_digest", "package_versions"):
        with monkeypatch.context() as patch:
            patch.setattr(first_stage, other, lambda: "another")
            others.append(FirstStage(place, study)._place(TRIAL).name)
    assert not {name, *others} - {name} & there
    assert len({name, *others}) == 5


def test_a_recording_that_was_exchanged_since_is_read_anew(folder, filled, tmp_path):
    study = open_study(folder)
    was = FirstStage(filled[0], study)._place(TRIAL)
    recording = folder / str(study.trials.set_index("trial").loc[TRIAL, "file"])
    kept = recording.read_bytes()
    try:
        recording.write_bytes(kept[:300])
        stage = FirstStage(filled[0], study)
        assert stage._place(TRIAL) != was
        with pytest.raises(Refusal):
            stage.load_trial(TRIAL)
    finally:
        recording.write_bytes(kept)


def test_a_result_that_cannot_be_read_is_computed(study, tmp_path):
    stage = FirstStage(tmp_path, study)
    stage._place(TRIAL).write_bytes(b"PK\x03\x04 and then nothing")
    assert stage.load_trial(TRIAL).value("power_W") == study.load_trial(TRIAL).value("power_W")
    assert count_taken(tmp_path) == 0


def test_nothing_is_left_in_a_folder_that_is_gone(study, tmp_path):
    assert FirstStage(tmp_path / "gone", study).fill(TRIAL) is False
    assert list(tmp_path.iterdir()) == []


def test_a_run_begins_by_removing_what_a_killed_one_left(tmp_path):
    PageKeys(tmp_path).open()
    (tmp_path / STAGES / "run" / "R01").mkdir(parents=True)
    (tmp_path / STAGES / "run" / "R01" / "of another time.npz").write_bytes(b"")
    with alone_in(tmp_path):
        assert [path.name for path in (tmp_path / STAGES).parent.iterdir()] == ["format.json"]


def test_a_link_in_a_strangers_report_is_removed_and_not_followed(tmp_path):
    report, elsewhere = tmp_path / "report", tmp_path / "elsewhere"
    PageKeys(report).open()
    elsewhere.mkdir()
    (elsewhere / "mine.txt").write_text("mine")
    (report / STAGES).symlink_to(elsewhere)
    with alone_in(report):
        assert not (report / STAGES).exists()
    assert (elsewhere / "mine.txt").is_file()


def _order(study, out):
    PageKeys(out).open()
    return WorkOrder(study.root, out, "", 600, "this run", facts_here(study.root, out))


def test_a_worker_leaves_results_as_long_as_its_run_is_there_and_its_algebra_has_one_thread(
    study, tmp_path, monkeypatch
):
    order = _order(study, tmp_path / "report")
    (order.stages / "R01").mkdir(parents=True)
    for name in ONE_THREAD:
        monkeypatch.setenv(name, "1")
    monkeypatch.setattr(cluster_worker, "_stopped", set())
    monkeypatch.setenv(ONE_THREAD[0], "2")
    assert analyse_recording_here(order, "R01", TRIAL) is False
    monkeypatch.setenv(ONE_THREAD[0], "1")
    assert analyse_recording_here(order, "R01", TRIAL) is True
    assert len(list((order.stages / "R01").iterdir())) == 1
    cluster_worker.stop_here(order.run)
    assert analyse_recording_here(order, "R01", TRIAL) is False


def test_a_page_of_two_rings_of_several_takes_what_a_worker_made_from_the_whole_study(tmp_path):
    """A worker opens the study once for all pages; each page of a rider looks at the round ring and one oval one."""
    small_rings_study(tmp_path / "study", riders=2, duration_s=3.0)
    study = open_study(tmp_path / "study")
    page = next(plan for plan in planned_pages(study) if plan.subject == "R02.strong")
    trials, view = _recordings_of(study, page), study.comparing("strong")
    assert set(study.trials.set_index("trial").loc[trials, "ring"]) == {"round", "strong"}
    whole, seen = FirstStage(tmp_path, study), FirstStage(tmp_path, view)
    assert [whole._place(trial) for trial in trials] == [seen._place(trial) for trial in trials]


def test_a_worker_that_cannot_write_stops_the_run_and_says_why(study, tmp_path, monkeypatch):
    """Not to be taken for a connection that broke, which is an error of the operating system too."""
    order = _order(study, tmp_path / "report")

    def on_a_full_disk(making, plan):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(PageMaking, "make", on_a_full_disk)
    with pytest.raises(Refusal, match=r"worker of the cluster.*No space left.*make room"):
        make_page_here(order, planned_pages(study)[0])


@pytest.mark.parametrize(
    ("is_there", "stopped"),
    [([False, False], False), ([False, True, True], False), ([False, True, False], True)],
    ids=["never seen", "late but there", "gone"],
)
def test_a_page_ends_when_its_run_is_gone_but_not_while_the_storage_is_slow(monkeypatch, is_there, stopped):
    looks = iter(is_there)
    order = SimpleNamespace(run="this run", stages=SimpleNamespace(is_dir=lambda: next(looks)))
    waits = iter([*[False] * len(is_there), True])
    made = SimpleNamespace(wait=lambda seconds: next(waits))
    monkeypatch.setattr(cluster_worker, "_stopped", set())
    cluster_worker._end_with_its_run(order, made)
    assert (cluster_worker._stopped == {"this run"}) == stopped
