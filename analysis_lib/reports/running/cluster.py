"""Pages made on an existing cluster, by its Dask scheduler.

Every worker must see the study folder and the report folder at the same paths as here, and have this very program with
the same versions; both are looked at before the first page and again by the worker at each task. A rider's page is two
stages: each recording is analysed by a task of its own, on whichever worker is free; then the page is made. What is
unchanged is decided here, and keys and records are written here. A worker process makes one page at a time; so start one
worker process a core.
"""

from __future__ import annotations

import contextlib
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.first_stage import count_taken
from analysis_lib.reports.running.cluster_worker import (
    LOOK_SECONDS,
    WorkOrder,
    analyse_recording_here,
    compare_facts,
    facts_here,
    make_page_here,
    stop_here,
)
from analysis_lib.reports.running.one_run import clear_stages
from analysis_lib.reports.running.page_making import STOPPING, PageState, RunStopped, fail_page
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.study.checks.folder import Study

ANSWER_SECONDS = 10
"""A scheduler that has not answered by then is taken to be absent."""

EMPTY_SECONDS = 60
"""How long a page waits for a worker when the cluster has none left, before the run is given up."""


@dataclass(frozen=True)
class Cluster:
    """The cluster as a run sees it."""

    client: Any
    study: Study
    order: WorkOrder
    places: int
    stopped: threading.Event = field(default_factory=threading.Event)
    _sent: dict[str, Any] = field(default_factory=dict)

    def make(self, plan: PlannedPage) -> PageState:
        """Let workers analyse the page's recordings and one make the page, and wait for it.

        The scheduler gives what a lost worker had in hand to another; a page that costs worker after worker fails alone.

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

        stage, trials = self.order.stages / plan.subject, _recordings_of(self.study, plan)
        if trials:
            stage.mkdir()  # not within the try: a full disk is no lost scheduler
        try:
            self._analyse_beforehand(plan, trials)
            with self._sending(make_page_here, plan, priority=1) as page:
                self._wait_for(page)
                return replace(page.result(), beforehand=count_taken(stage))
        except KilledWorker:
            cause = "the cluster lost every worker that tried to make this page; its memory may have been too small"
            return fail_page(self.study, self.order.out, plan, cause)
        except (CommClosedError, FutureCancelledError, OSError) as error:
            if self.stopped.is_set():
                raise RunStopped(plan.name) from error
            raise self._lost("a connection that broke", "start the scheduler again") from error
        finally:
            shutil.rmtree(stage, ignore_errors=True)

    def _analyse_beforehand(self, plan: PlannedPage, trials: list[str]) -> None:
        """Let workers analyse all recordings of a rider's page; whatever fails there is left to the page."""
        with ExitStack() as sent:
            tasks = [self._sending(analyse_recording_here, plan.subject, trial) for trial in trials]
            for future in [sent.enter_context(task) for task in tasks]:
                self._wait_for(future)

    @contextmanager
    def _sending(self, task: Callable, *arguments: object, priority: int = 0) -> Iterator[Any]:
        """Send a task, and hold what comes of it no longer than needed: the scheduler makes lost results anew."""
        future = self.client.submit(task, self.order, *arguments, pure=False, retries=0, priority=priority)
        self._sent[future.key] = future
        try:
            if self.stopped.is_set():  # it was sent too late to be called back
                raise RunStopped(str(arguments[0]))
            yield future
        finally:
            del self._sent[future.key]

    def _wait_for(self, future: Any) -> None:
        """Wait until a task is done, as long as the scheduler is there and has workers to do it."""
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

    @property
    def stopping(self) -> str:
        """What is said at once of a run that is being stopped."""
        return STOPPING

    def stop(self) -> None:
        """Call back what was sent and end this run's kernels on every worker that can still be reached."""
        self.stopped.set()
        with contextlib.suppress(OSError, TimeoutError):  # a lost scheduler has nobody to tell
            if self.client.status == "running":
                self.client.cancel(list(self._sent.values()))
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
        compare_facts(facts, _facts_there(client, study.root, out))
        order = WorkOrder(study.root.resolve(), out, address, cell_seconds, uuid4().hex, facts)
        order.stages.mkdir(parents=True)
        try:
            yield Cluster(client, study, order, sum(threads.values()))
        finally:
            clear_stages(out)


def _recordings_of(study: Study, plan: PlannedPage) -> list[str]:
    """The trials that a rider's page analyses; none for a page about all, which reads the riders' tables."""
    if not plan.rider:
        return []
    trials = study.comparing(str(plan.parameters.get("ring", ""))).trials_of(plan.rider)
    return [str(trial) for trial in trials.loc[trials["usable"], "trial"]]


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
