"""Pages made on an existing cluster, by its Dask scheduler.

Every worker must see the study folder and the report folder at the same paths as here, and have this very program with
the same versions; both are looked at before the first page and again by the worker that makes one. Only the making
of pages is sent away: what is unchanged is decided here, and keys and records are written here. A worker process makes
one page at a time, because a run's folder and environment are the process's; so start one worker process a core.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

from analysis_lib.refusals import Refusal
from analysis_lib.reports.notebook_run import RunFolder
from analysis_lib.reports.page_keys import FOLDER, source_digest
from analysis_lib.reports.page_list import PlannedPage
from analysis_lib.reports.page_making import PageMaking, PageState, RunStopped, fail_page
from analysis_lib.reports.pdf_page import printer_version
from analysis_lib.reports.run_record import package_versions, sha256_of
from analysis_lib.study.folder import Study, open_study
from analysis_lib.study.settings import FILE as SETTINGS

ANSWER_SECONDS = 10
"""A scheduler that has not answered by then is taken to be absent."""

LOOK_SECONDS = 2
"""How often a waiting page looks whether the scheduler and any worker are still there."""

EMPTY_SECONDS = 60
"""How long a page waits for a worker when the cluster has none left, before the run is given up."""


@dataclass(frozen=True)
class PageOrder:
    """What a worker needs to know beside the page: where the folders are, and which run it works for."""

    study: Path
    out: Path
    scheduler: str
    cell_seconds: int
    run: str
    facts: dict[str, str]


@dataclass(frozen=True)
class Cluster:
    """The cluster as a run sees it."""

    client: Any
    study: Study
    order: PageOrder
    places: int
    stopped: threading.Event = field(default_factory=threading.Event)
    _sent: list = field(default_factory=list)

    def make(self, plan: PlannedPage) -> PageState:
        """Let a worker make the page and wait for it.

        The scheduler gives the page of a lost worker to another; one that costs worker after worker fails alone.

        Raises
        ------
        Refusal
            When the scheduler is lost, or has had no worker for `EMPTY_SECONDS`.
        RunStopped
            When the run was stopped meanwhile.
        """
        from distributed import KilledWorker
        from distributed.client import FutureCancelledError
        from distributed.comm import CommClosedError

        try:
            future = self.client.submit(make_page_here, self.order, plan, pure=False, retries=0)
            self._sent.append(future)
            self._wait_for(future)
            return future.result()
        except KilledWorker:
            cause = "the cluster lost every worker that tried to make this page; its memory may have been too small"
            return fail_page(self.study, self.order.out, plan, cause)
        except (CommClosedError, FutureCancelledError, OSError) as error:
            if self.stopped.is_set():
                raise RunStopped(plan.name) from error
            raise self._lost("a connection that broke", "start the scheduler again") from error

    def _wait_for(self, future: Any) -> None:
        """Wait until the page is made, as long as the scheduler is there and has workers to make it."""
        empty_s = 0
        while not future.done():
            with contextlib.suppress(TimeoutError):
                future.exception(timeout=LOOK_SECONDS)
            if self.client.status != "running":
                raise OSError(f"the client is {self.client.status}")
            empty_s = 0 if self.client.nthreads() else empty_s + LOOK_SECONDS
            if empty_s >= EMPTY_SECONDS:
                raise self._lost(f"no worker for {EMPTY_SECONDS} s", "start dask workers again")

    def _lost(self, got: str, remedy: str) -> Refusal:
        return Refusal(
            f"the scheduler at {self.order.scheduler}",
            got,
            "a scheduler with workers for as long as the run lasts",
            f"{remedy}; finished pages are kept, and the same command goes on from there",
        )

    def stop(self) -> None:
        """Call back what was sent and end this run's kernels on every worker that can still be reached."""
        self.stopped.set()
        with contextlib.suppress(OSError, TimeoutError):  # a lost scheduler has nobody to tell
            if self.client.status == "running":
                self.client.cancel(self._sent)
                self.client.run(stop_here, self.order.run)


@contextmanager
def open_cluster(address: str, study: Study, out: Path, cell_seconds: int) -> Iterator[Cluster]:
    """Connect to the scheduler at `address` and see that its workers can make this report.

    Raises
    ------
    Refusal
        When Dask is not installed, the scheduler does not answer, there is no worker, or a worker lacks the program, its
        versions, or the folders.
    """
    facts = facts_here(study.root, out)
    with contextlib.closing(_connect(address)) as client:
        threads = client.nthreads()
        if not threads:
            raise Refusal(f"the scheduler at {address}", "no worker", "one or more", "start dask workers")
        _compare(facts, _facts_there(client, study.root, out))
        order = PageOrder(study.root.resolve(), out, address, cell_seconds, uuid4().hex, facts)
        yield Cluster(client, study, order, sum(threads.values()))


def _connect(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise Refusal(
            "option --scheduler",
            "an installation without Dask",
            "the package distributed",
            "pip install 'roundoval[cluster]', on every machine of the cluster",
        ) from error
    try:
        return Client(address, timeout=ANSWER_SECONDS, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise Refusal(
            f"the scheduler at {address}",
            f"no answer within {ANSWER_SECONDS} s",
            "the address of a Dask scheduler, tcp://HOST:PORT",
            "start `dask scheduler` and workers, or leave out --scheduler",
        ) from error


def _facts_there(client: Any, study: Path, out: Path) -> dict[str, dict[str, str]]:
    try:
        return client.run(facts_here, study.resolve(), out)
    except ImportError as error:
        raise Refusal(
            "the workers of the cluster",
            str(error),
            "this program on every worker",
            "install the same version there",
        ) from error


def facts_here(study: Path, out: Path) -> dict[str, str]:
    """Return what must be the same on every machine that makes a page of one report."""
    marks = {"study folder": study / SETTINGS, "report folder": out / FOLDER / "format.json"}
    seen = {name: sha256_of(path) if path.is_file() else "not seen" for name, path in marks.items()}
    return {"program": source_digest(), **seen, **package_versions(), "weasyprint": printer_version()}


def _compare(wanted: dict[str, str], found: dict[str, dict[str, str]]) -> None:
    for worker, facts in sorted(found.items()):
        differing = {name: facts.get(name, "none") for name in wanted if facts.get(name) != wanted[name]}
        if differing:
            raise Refusal(
                f"worker {worker}",
                ", ".join(f"{name} {value[:12]}" for name, value in differing.items()),
                ", ".join(f"{name} {wanted[name][:12]}" for name in differing),
                "give every worker the same program, versions, and folders at the same paths as here",
            )


_one_page = threading.Lock()
_folders: dict[str, RunFolder] = {}
_stopped: set[str] = set()


def make_page_here(order: PageOrder, plan: PlannedPage) -> PageState:
    """Make one page in this worker process."""
    with _one_page:
        if order.run in _stopped:
            raise RunStopped(plan.name)
        _compare(order.facts, {"of the cluster": facts_here(order.study, order.out)})
        study = open_study(order.study)
        with RunFolder(study.root, order.out) as folder:
            os.environ["MPLCONFIGDIR"] = _fonts().name
            _folders[order.run] = folder
            try:
                return PageMaking(study, order.out, folder, order.cell_seconds).make(plan)
            finally:
                del _folders[order.run]


def stop_here(run: str) -> None:
    """End this worker's kernels of one run; it makes no further page for it."""
    _stopped.add(run)
    if folder := _folders.get(run):
        folder.kernels.end_all()


@cache
def _fonts() -> tempfile.TemporaryDirectory:
    """A folder where this process keeps what it found out about fonts, so that not every page looks for them again."""
    return tempfile.TemporaryDirectory(prefix="ro-fonts-", ignore_cleanup_errors=True)
