"""Where and how pages are made: by kernels of this machine, forked or started anew, or on a cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from analysis_lib.refusals import Refusal
from analysis_lib.reports.execution.kernel_parent import KernelParent, imports_of, why_no_fork
from analysis_lib.reports.execution.notebook_run import CELL_SECONDS, RunFolder
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.pages.printing import Printing
from analysis_lib.reports.running.page_making import PageMaking, PageState
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.study.checks.folder import Study


@dataclass(frozen=True)
class WayOfWork:
    """How pages are made; no byte of them follows from it.

    ``jobs`` kernels work at the same time on this machine, forked from a preloaded parent where ``preload`` asks for it; or
    the pages are made on the cluster behind a Dask ``scheduler``. A cell that takes longer than ``cell_seconds`` fails
    its page.
    """

    jobs: int = 1
    preload: bool = False
    scheduler: str = ""
    cell_seconds: int = CELL_SECONDS


class Making(Protocol):
    """What makes pages: this machine or a cluster."""

    @property
    def places(self) -> int:
        """Pages that can be in the making at the same time."""

    def make(self, plan: PlannedPage) -> PageState:
        """Make one page."""

    @property
    def stopping(self) -> str:
        """What is said at once of a run that is being stopped."""

    def stop(self) -> None:
        """End everything that is being made."""


@contextmanager
def open_making(
    study: Study, out: Path, plans: Sequence[PlannedPage], way: WayOfWork, say: Callable[[str], None]
) -> Iterator[Making]:
    """Open what makes the pages.

    Raises
    ------
    Refusal
        When a preloaded parent is asked for together with a cluster, or the cluster cannot be used.
    """
    if way.scheduler and way.preload:
        raise Refusal(
            "options --preload and --scheduler",
            "both",
            "one of them, because each machine of a cluster starts its own kernels",
            "leave out --preload",
        )
    if way.scheduler:
        from analysis_lib.reports.running.cluster import open_cluster

        with open_cluster(way.scheduler, study, out, way.cell_seconds) as cluster:
            yield cluster
        return
    if way.preload and (why_not := why_no_fork()):
        say(why_not)
    repeated = sorted({notebooks_folder() / plan.template for plan in plans if plan.rider})
    parent = KernelParent(imports_of(repeated)) if way.preload and not why_no_fork() else None
    printing = Printing(way.jobs) if way.jobs > 1 and len(plans) > 1 else None
    with RunFolder(study.root, out, parent, study) as folder:
        try:
            yield PageMaking(study, out, folder, way.cell_seconds, way.jobs, printing)
        finally:
            if printing:
                printing.close()
