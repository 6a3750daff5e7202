"""Pages made on a cluster, a scheduler and workers on one machine: the same bytes; clear words when it cannot be."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass

import psutil
import pytest

from analysis_lib.__main__ import main
from analysis_lib.refusals import Refusal
from analysis_lib.reports.execution import lean_kernel
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.reports.running.cluster_worker import compare_facts, facts_here
from analysis_lib.reports.running.one_run import STAGES
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.running.ways_of_work import WayOfWork
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cluster") / "study"
    small_study(folder, riders=1, duration_s=8.0)
    return folder


def _free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@dataclass(frozen=True)
class Cluster:
    """A scheduler's address and the processes behind it."""

    address: str
    scheduler: subprocess.Popen
    workers: list[subprocess.Popen]

    def kernels(self) -> list[int]:
        """The kernels at work below the workers, by process."""
        return [kernel for worker in self.workers for kernel in _kernels_of(worker)]

    def wait_for_kernel(self) -> subprocess.Popen:
        """Wait until a page is being made, and return the worker that makes it."""
        end = time.monotonic() + 120
        while time.monotonic() < end:
            for worker in self.workers:
                if _kernels_of(worker):
                    return worker
            time.sleep(0.1)
        raise AssertionError("no kernel came to life within two minutes")


def _kernels_of(worker):
    found = []
    with contextlib.suppress(psutil.Error):  # processes end while they are looked at
        for part in psutil.Process(worker.pid).children(recursive=True):
            with contextlib.suppress(psutil.Error):
                found += [part.pid] if lean_kernel.__name__ in " ".join(part.cmdline()) else []
    return found


@contextmanager
def _cluster(folder, workers=2):
    """A scheduler and its workers as separate processes, ended by their own ids."""
    pytest.importorskip("distributed")
    address, quiet = (
        f"tcp://127.0.0.1:{_free_port()}",
        {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL},
    )
    host, port = address.removeprefix("tcp://").split(":")
    environment = os.environ | {"DASK_TEMPORARY_DIRECTORY": str(folder)}
    scheduler = [
        sys.executable,
        "-m",
        "distributed.cli.dask_scheduler",
        "--host",
        host,
        "--port",
        port,
        "--no-dashboard",
    ]
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        "--nthreads",
        "1",
        "--no-nanny",
        "--no-dashboard",
    ]
    processes = [
        subprocess.Popen(words, cwd=folder, env=environment, **quiet)
        for words in [scheduler, *[worker] * workers]
    ]
    try:
        from distributed import Client

        with Client(address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=60)
        yield Cluster(address, processes[0], processes[1:])
    finally:
        for process in processes:
            process.kill()
            process.wait()


@pytest.mark.long
def test_a_cluster_gives_the_same_bytes_as_one_kernel_of_this_machine(one_trial_report, tmp_path):
    """The only recording is analysed by a task of its own, and the page's kernel takes its result from there."""
    first, said = one_trial_report, []
    with _cluster(tmp_path) as cluster:
        way = WayOfWork(scheduler=cluster.address)
        report = make_report(first.study, tmp_path / "report", say=said.append, way=way)
    assert report.exit_code == 0
    assert [page.beforehand for page in report.pages] == [1, 0, 0]
    assert [line for line in said if "1 recording analysed beforehand" in line]
    assert not (tmp_path / "report" / STAGES).exists()
    assert checksums(tmp_path / "report") == checksums(first.folder)


@pytest.mark.long
def test_a_failure_on_the_cluster_stays_with_its_page(one_trial_report, tmp_path):
    first = one_trial_report
    with _cluster(tmp_path, workers=1) as cluster:
        way = WayOfWork(scheduler=cluster.address, cell_seconds=1)
        report = make_report(
            first.study, tmp_path / "report", only_rider="R01", say=lambda line: None, way=way
        )
    assert [page.made for page in report.pages] == [False]
    assert report.pages[0].cause.startswith("CellTimeoutError")
    assert "CellTimeoutError" in (tmp_path / "report" / "riders" / "R01.html").read_text()


def _while_it_works(first, out, cluster, disturb):
    """Start a report on the cluster, disturb it once the first page is being made, and return what came of it."""
    came = []

    def work():
        try:
            way = WayOfWork(scheduler=cluster.address)
            came.append(make_report(first.study, out, say=lambda line: None, way=way))
        except Exception as error:
            came.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    disturb(cluster.wait_for_kernel())
    thread.join(timeout=300)
    assert came, "the run never ended"
    return came[0]


def _end(process):
    process.kill()
    process.wait()


@pytest.mark.long
def test_the_page_of_a_lost_worker_is_made_by_another_with_the_same_bytes(one_trial_report, tmp_path):
    first = one_trial_report
    with _cluster(tmp_path) as cluster:
        report = _while_it_works(first, tmp_path / "report", cluster, _end)
    assert report.exit_code == 0
    assert checksums(tmp_path / "report") == checksums(first.folder)


@pytest.mark.long
def test_a_cluster_that_lost_all_its_workers_is_given_up_and_the_next_run_goes_on(
    one_trial_report, tmp_path, monkeypatch
):
    first = one_trial_report
    monkeypatch.setattr("analysis_lib.reports.running.cluster.EMPTY_SECONDS", 4)
    with _cluster(tmp_path, workers=1) as cluster:
        came = _while_it_works(first, tmp_path / "report", cluster, _end)
    assert isinstance(came, Refusal)
    assert "no worker for 4 s" in str(came) and "goes on from there" in str(came)
    make_report(first.study, tmp_path / "report", say=lambda line: None)
    assert checksums(tmp_path / "report") == checksums(first.folder)


@pytest.mark.long
def test_a_lost_scheduler_is_named_and_the_next_run_goes_on(one_trial_report, tmp_path):
    first = one_trial_report
    with _cluster(tmp_path, workers=1) as cluster:
        came = _while_it_works(first, tmp_path / "report", cluster, lambda worker: _end(cluster.scheduler))
    assert isinstance(came, Refusal)
    assert cluster.address in str(came) and "start the scheduler again" in str(came)
    make_report(first.study, tmp_path / "report", say=lambda line: None)
    assert checksums(tmp_path / "report") == checksums(first.folder)


@pytest.mark.long
def test_a_run_on_a_cluster_that_the_user_stops_ends_its_kernels_there(one_trial_report, tmp_path):
    first = one_trial_report
    with _cluster(tmp_path, workers=1) as cluster:
        words = first.again(tmp_path / "report", "--scheduler", cluster.address)
        run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        cluster.wait_for_kernel()
        run.send_signal(signal.SIGINT)
        _, said = run.communicate(timeout=120)
        end = time.monotonic() + 30
        while cluster.kernels() and time.monotonic() < end:
            time.sleep(0.2)
        assert cluster.kernels() == []
        assert cluster.workers[0].poll() is None
    assert run.returncode == 130
    assert "the same command goes on from there" in said
    assert "Traceback" not in said
    make_report(first.study, tmp_path / "report", say=lambda line: None)
    assert checksums(tmp_path / "report") == checksums(first.folder)


def _kill_once(seen, words):
    """Start a command and kill it, as the system does when memory runs out, once `seen` finds what it waits for."""
    run = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        end = time.monotonic() + 120
        while not seen() and time.monotonic() < end:
            time.sleep(0.01)
        assert run.poll() is None, "the run ended before it could be killed"
    finally:
        run.kill()
        run.wait()


@pytest.mark.long
@pytest.mark.parametrize("moment", ["recordings are sent", "a kernel works"])
def test_a_killed_run_is_finished_by_the_next_on_the_same_cluster_with_the_same_bytes(
    one_trial_report, tmp_path, moment
):
    """The workers know nothing of the kill, so the next run meets their late results and their kernel at work."""
    first, report = one_trial_report, tmp_path / "report"
    with _cluster(tmp_path) as cluster:
        words = first.again(report, "--scheduler", cluster.address)
        seen = {
            "recordings are sent": lambda: list(report.glob(f"{STAGES}/*/R01")),
            "a kernel works": cluster.kernels,
        }[moment]
        _kill_once(seen, words)
        assert (report / STAGES).is_dir()
        way = WayOfWork(scheduler=cluster.address)
        assert make_report(first.study, report, say=lambda line: None, way=way).exit_code == 0
        assert cluster.kernels() == []
        assert not (report / STAGES).exists()
        assert checksums(report) == checksums(first.folder)


@pytest.mark.long
def test_a_second_run_into_the_same_folder_is_refused_and_does_the_first_no_harm(one_trial_report, tmp_path):
    first, report, refused = one_trial_report, tmp_path / "report", []

    def run_too(worker):
        with pytest.raises(Refusal, match="another run at work in it") as refusal:
            make_report(first.study, report, say=lambda line: None, way=WayOfWork(scheduler=cluster.address))
        refused.append(refusal)

    with _cluster(tmp_path) as cluster:
        assert _while_it_works(first, report, cluster, run_too).exit_code == 0
    assert refused
    assert checksums(report) == checksums(first.folder)


def test_an_address_that_does_not_answer_is_refused(study, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("analysis_lib.reports.running.cluster.ANSWER_SECONDS", 1)
    way = WayOfWork(scheduler=f"tcp://127.0.0.1:{_free_port()}")
    with pytest.raises(Refusal, match=r"no answer within 1 s.*dask scheduler"):
        make_report(study, tmp_path / "report", say=lambda line: None, way=way)


def test_an_installation_without_dask_is_told_what_to_install(study, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(Refusal, match=r"roundoval\[cluster\]"):
        make_report(
            study,
            tmp_path / "report",
            say=lambda line: None,
            way=WayOfWork(scheduler="tcp://127.0.0.1:1"),
        )


def test_a_worker_with_other_versions_or_without_the_folders_is_named(study, tmp_path):
    PageKeys(tmp_path / "report").open()
    here = facts_here(study, tmp_path / "report")
    assert compare_facts(here, {"tcp://a": dict(here)}) is None
    there = facts_here(tmp_path, tmp_path) | {"numpy": "1.0"}
    with pytest.raises(Refusal, match=r"worker tcp://b – got study folder not seen.*numpy 1.0"):
        compare_facts(here, {"tcp://a": dict(here), "tcp://b": there})


def test_a_preloaded_parent_and_a_cluster_together_are_refused(study, tmp_path, capsys):
    words = ["report", str(study), "--out", str(tmp_path / "report")]
    assert main([*words, "--preload", "--scheduler", "tcp://127.0.0.1:1"]) == 2
    assert "leave out --preload" in capsys.readouterr().err
