"""The making of one page: the notebook is run, then written as a page, or a page says why there is none.

The same code makes a page in the run's own process and on a machine of a cluster.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from analysis_lib.reports.execution.notebook_run import CELL_SECONDS, NotebookFailure, RunFolder, run_notebook
from analysis_lib.reports.files.page_records import WAITING, state_in_words
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.pages.pages import failure_body, waiting_body, write_page
from analysis_lib.reports.pages.printing import PageOrder, Printing, write_notebook_page
from analysis_lib.reports.rider.rider_analysis import blocking_problems
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.reports.trials.rider_trials import BEFOREHAND, BY_RULE
from analysis_lib.study.checks.folder import Study

STOPPING = "stopping: the kernels are being ended, finished pages stay"


class RunStopped(RuntimeError):
    """The run was stopped while a page was being made; the page is neither made nor failed."""


@dataclass(frozen=True)
class PageState:
    """What became of one page: its subject and name, its files, the cause when it was not made, and what it cost.

    After the first line of the cause each part that is at fault has one of its own. ``beforehand`` counts the recordings
    whose results it took from tasks of their own.
    """

    subject: str
    name: str
    page: str
    notebook: str
    cause: str = ""
    unchanged: bool = False
    seconds: float = 0.0
    beforehand: int = 0

    @property
    def made(self) -> bool:
        """Whether the page holds results."""
        return not self.cause

    @property
    def waiting(self) -> bool:
        """Whether the page holds no results because none can be there yet."""
        return self.cause == WAITING

    @property
    def failed(self) -> bool:
        """Whether the page holds no results and should."""
        return not (self.made or self.waiting)

    @property
    def each(self) -> tuple[str, ...]:
        """What stopped each part of a page that failed, trial by trial say."""
        return tuple(self.cause.splitlines()[1:])

    @property
    def words(self) -> str:
        """The state in words for the record."""
        return state_in_words(self.cause)

    @property
    def headline(self) -> str:
        """The first line of the state's words, for the run and the index."""
        return self.words.splitlines()[0]

    @property
    def on_record(self) -> dict[str, str]:
        """What is kept of the state beside the page's key."""
        return {name: getattr(self, name) for name in ("subject", "name", "page", "notebook", "cause")}


@dataclass(frozen=True)
class PageMaking:
    """What the making of every page of one run shares, which has at most so many `kernels` at the same time.

    Pages are written by the processes of ``printing``, or here where there are none.
    """

    study: Study
    out: Path
    folder: RunFolder
    cell_seconds: int = CELL_SECONDS
    kernels: int = 1
    printing: Printing | None = None
    _free: threading.Semaphore = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_free", threading.Semaphore(self.kernels))

    @property
    def places(self) -> int:
        """Pages in the making at the same time: where kernels work side by side, one page more is being written."""
        return self.kernels + 1 if self.kernels > 1 else 1

    def make(self, plan: PlannedPage) -> PageState:
        """Make one page whose places are clear, and return what became of it.

        Raises
        ------
        RunStopped
            When the run was stopped meanwhile.
        """
        problems = (
            [str(problem) for problem in blocking_problems(self.study, plan.rider)] if plan.rider else []
        )
        if problems:
            return fail_page(self.study, self.out, plan, problems[0], problems=problems)
        if plan.rider and _waits(self.study, plan):
            return _waiting_page(self.study, self.out, plan)
        if self.printing:
            self.printing.get_ready()
        failure = self._execute(plan)
        if self.folder.kernels.ended:
            raise RunStopped(plan.name)
        if failure is None:
            failure = self._show(plan)
            if failure is not None and self.folder.kernels.ended:
                raise RunStopped(plan.name)
        if failure is not None:
            return fail_page(self.study, self.out, plan, "\n".join((failure.cause, *failure.each)), failure)
        return PageState(plan.subject, plan.name, plan.page, plan.notebook)

    @property
    def stopping(self) -> str:
        """What is said at once of a run that is being stopped."""
        return STOPPING if self.printing else f"{STOPPING}; so does a page that is being written by now"

    def stop(self) -> None:
        """End all kernels at once, and the processes that write pages; pages in the making are neither made nor failed."""
        self.folder.kernels.end_all()
        if self.printing:
            self.printing.close()

    def _show(self, plan: PlannedPage) -> NotebookFailure | None:
        """Write the executed notebook as a page; a fault in that is this page's, but a full disk is the whole run's."""
        heading = self.study.settings.study
        order = PageOrder(
            template=plan.template,
            notebook=str(self.out / plan.notebook),
            page=str(self.out / plan.page),
            title=plan.title,
            tables=plan.tables,
            study=heading.name,
            home=_home(plan),
            notice=heading.notice,
        )
        return self.printing.write(order) if self.printing else write_notebook_page(order)

    def _execute(self, plan: PlannedPage) -> NotebookFailure | None:
        notebook = notebooks_folder() / plan.template
        label = plan.subject.replace(" ", "-")
        with self._free:
            return run_notebook(
                notebook, self.out / plan.notebook, plan.parameters, self.folder, label, self.cell_seconds
            )


def _waits(study: Study, plan: PlannedPage) -> bool:
    """Whether no trial of a page's rider is listed yet, also none that could not be read."""
    ring = str(plan.parameters.get("ring", ""))
    faults = any(error.rider == plan.rider and error.scope == "trial" for error in study.errors)
    return not faults and study.comparing(ring).trials_of(plan.rider).empty


def _waiting_page(study: Study, out: Path, plan: PlannedPage) -> PageState:
    _write(study, out, plan, waiting_body(plan.name))
    return PageState(plan.subject, plan.name, plan.page, "", WAITING)


def faults_of_failed(study: Study, pages: Sequence[PageState]) -> tuple[str, ...]:
    """Return what stopped recordings of riders whose pages failed for it, each fault once.

    What the tables themselves have against a trial, and what was excluded, is said elsewhere.
    """
    told = {problem.trial for problem in study.errors}
    parts = (line.partition(": ") for page in pages for line in page.each)
    faults = (reason for trial, _, reason in parts if trial not in told)
    return tuple(dict.fromkeys(fault for fault in faults if not fault.startswith((BEFOREHAND, BY_RULE))))


def fail_page(
    study: Study,
    out: Path,
    plan: PlannedPage,
    cause: str,
    failure: NotebookFailure | None = None,
    problems: Sequence[str] = (),
) -> PageState:
    """Write the page that says why there is none, and return its state."""
    _write(study, out, plan, failure_body(plan.name, failure, problems))
    executed = plan.notebook if (out / plan.notebook).is_file() else ""
    return PageState(plan.subject, plan.name, plan.page, executed, cause)


def _write(study: Study, out: Path, plan: PlannedPage, body: str) -> None:
    heading = study.settings.study
    write_page(out / plan.page, plan.title, body, heading.name, _home(plan), heading.notice)


def _home(plan: PlannedPage) -> str:
    return "../index.html" if "/" in plan.page else "index.html"
