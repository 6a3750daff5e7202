"""What a worker of a cluster does for a run: analyse one recording beforehand, or make one page.

A worker process makes one page at a time, because a run's folder and environment are the process's.
"""

from __future__ import annotations

import os
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.execution.notebook_run import ONE_THREAD, RunFolder
from analysis_lib.reports.files.first_stage import VARIABLE, FirstStage
from analysis_lib.reports.files.page_keys import source_digest
from analysis_lib.reports.files.page_records import FOLDER
from analysis_lib.reports.files.pdf_page import printer_version
from analysis_lib.reports.files.run_record import package_versions, sha256_of
from analysis_lib.reports.running.one_run import STAGES
from analysis_lib.reports.running.page_making import PageMaking, PageState, RunStopped
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.declared.settings import FILE as SETTINGS

LOOK_SECONDS = 2
"""How often a waiting run looks whether the cluster is there, and a page in the making whether its run is."""


@dataclass(frozen=True)
class WorkOrder:
    """What a worker needs to know beside the page: where the folders are, and which run it works for."""

    study: Path
    out: Path
    scheduler: str
    cell_seconds: int
    run: str
    facts: dict[str, str]

    @property
    def stages(self) -> Path:
        """The folder of this run's first stages. It is there as long as the run is; the next run removes it."""
        return self.out / STAGES / self.run


def facts_here(study: Path, out: Path) -> dict[str, str]:
    """Return what must be the same on every machine that makes a page of one report."""
    marks = {"study folder": study / SETTINGS, "report folder": out / FOLDER / "format.json"}
    seen = {name: sha256_of(path) if path.is_file() else "not seen" for name, path in marks.items()}
    return {"program": source_digest(), **seen, **package_versions(), "weasyprint": printer_version()}


def compare_facts(wanted: Mapping[str, str], found: Mapping[str, Mapping[str, str]]) -> None:
    """Refuse a worker whose facts are not those wanted."""
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


def analyse_recording_here(order: WorkOrder, page: str, trial: str) -> bool:
    """Analyse one recording of a page beforehand, and say whether its result lies there.

    Algebra by several threads may add numbers up in another order than a kernel, which uses one; then the recording is
    left to the page.
    """
    if order.run in _stopped or any(os.environ.get(name) != "1" for name in ONE_THREAD):
        return False
    _see_that_all_is_the_same(order)
    return FirstStage(order.stages / page, _study_of(order.run, order.study)).fill(trial)


def make_page_here(order: WorkOrder, plan: PlannedPage) -> PageState:
    """Make one page in this worker process.

    Raises
    ------
    RunStopped
        When the run was stopped or is no longer there.
    Refusal
        When this worker is not as the run wants it, or cannot write where the page belongs, which is the whole run's.
    """
    with _one_page:
        _see_that_all_is_the_same(order)
        study = _study_of(order.run, order.study)
        with RunFolder(study.root, order.out, opened=study) as folder, _tied_to_its_run(order, folder, plan):
            try:
                return PageMaking(study, order.out, folder, order.cell_seconds).make(plan)
            except OSError as error:
                remedy = "make room and rights there; finished pages are kept"
                raise Refusal("a worker of the cluster", str(error), "a page written", remedy) from error


@contextmanager
def _tied_to_its_run(order: WorkOrder, folder: RunFolder, plan: PlannedPage) -> Iterator[None]:
    """Let the run stop its page in the making here, and tell the page's kernel of its first stage, where it has one."""
    made = threading.Event()
    _folders[order.run] = folder
    try:
        if order.run in _stopped:
            raise RunStopped(plan.name)
        os.environ["MPLCONFIGDIR"] = _fonts().name
        if (order.stages / plan.subject).is_dir():
            os.environ[VARIABLE] = f"results/{STAGES}/{order.run}/{plan.subject}"
        threading.Thread(target=_end_with_its_run, args=(order, made), daemon=True).start()
        yield
    finally:
        made.set()
        os.environ.pop(VARIABLE, None)
        del _folders[order.run]


def stop_here(run: str) -> None:
    """End this worker's kernels of one run; it makes no further page for it."""
    _stopped.add(run)
    if folder := _folders.get(run):
        folder.kernels.end_all()


def _see_that_all_is_the_same(order: WorkOrder) -> None:
    compare_facts(order.facts, {"of the cluster": facts_here(order.study, order.out)})


def _end_with_its_run(order: WorkOrder, made: threading.Event) -> None:
    """Stop a page whose run was killed once another run has the report folder, which removes the stages of the dead one.

    Network storage may be slow to show a new folder, so one that was never seen is not taken for one that is gone.
    """
    seen = False
    while not made.wait(LOOK_SECONDS):
        is_there = order.stages.is_dir()
        if seen and not is_there:
            stop_here(order.run)
        seen = seen or is_there


@lru_cache(maxsize=1)
def _study_of(run: str, root: Path) -> Study:
    """The study as one run finds it, opened once for all its recordings and pages."""
    return open_study(root)


@cache
def _fonts() -> tempfile.TemporaryDirectory:
    """A folder where this process keeps what it found out about fonts, so that not every page looks for them again."""
    return tempfile.TemporaryDirectory(prefix="ro-fonts-", ignore_cleanup_errors=True)
