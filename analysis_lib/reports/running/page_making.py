"""The making of one page: the notebook is run, then written as a page, or a page says why there is none.

The same code makes a page in the run's own process and on a machine of a cluster.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from analysis_lib.reports.execution.notebook_run import CELL_SECONDS, NotebookFailure, RunFolder, run_notebook
from analysis_lib.reports.files.page_records import EXCLUDED, WAITING, is_excluded, state_in_words
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.pages.pages import excluded_body, failure_body, waiting_body, write_page
from analysis_lib.reports.pages.printing import PageOrder, Printing, write_notebook_page
from analysis_lib.reports.rider.rider_analysis import blocking_problems
from analysis_lib.reports.study.page_list import PlannedPage
from analysis_lib.reports.trials.rider_trials import BEFOREHAND, BY_RULE, reasons_of_excluded
from analysis_lib.study.checks.folder import Study

STOPPING = "stopping: the kernels are being ended, finished pages stay"


class RunStopped(RuntimeError):
    """The run was stopped while a page was being made; the page is neither made nor failed."""


@dataclass(frozen=True)
class PageState:
    """What became of one page: its subject and name, its files, the cause when it was not made, and what it cost.

    After the first line of the cause each part that is at fault has one of its own. ``beforehand`` counts the recordings
    whose results it took from tasks of their own. ``outdated`` says why a page of an earlier run no longer follows from
    the study.
    """

    subject: str
    name: str
    page: str
    notebook: str
    cause: str = ""
    unchanged: bool = False
    seconds: float = 0.0
    beforehand: int = 0
    outdated: str = ""

    @property
    def made(self) -> bool:
        """Whether the page holds results."""
        return not self.cause

    @property
    def waiting(self) -> bool:
        """Whether the page holds no results because none can be there yet."""
        return self.cause == WAITING

    @property
    def excluded(self) -> bool:
        """Whether the page holds no results because every trial was left out on purpose."""
        return is_excluded(self.cause)

    @property
    def failed(self) -> bool:
        """Whether the page holds no results and should."""
        return not (self.made or self.waiting or self.excluded)

    @property
    def each(self) -> tuple[str, ...]:
        """What stopped each part of a page that was not made, trial by trial say."""
        return tuple(self.cause.splitlines()[1:])

    @property
    def words(self) -> str:
        """The state in words for the record; of a page that is out of date nothing else."""
        return self.outdated or state_in_words(self.cause)

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
        if plan.rider and (reasons := _left_out_beforehand(self.study, plan)):
            return _excluded_page(self.study, self.out, plan, reasons)
        if self.printing:
            self.printing.get_ready()
        failure = self._execute(plan)
        if self.folder.kernels.ended:
            raise RunStopped(plan.name)
        if failure is None:
            failure = self._show(plan)
            if failure is not None and self.folder.kernels.ended:
                raise RunStopped(plan.name)
        if failure is not None and _is_exclusion(self.study, plan, failure):
            return _excluded_page(self.study, self.out, plan, failure.each)
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
    return not _has_faults(study, plan) and _trials_of(study, plan).empty


def _trials_of(study: Study, plan: PlannedPage) -> pd.DataFrame:
    """Return the trials of a page's rider on its rings."""
    return study.comparing(str(plan.parameters.get("ring", ""))).trials_of(plan.rider)


def _has_faults(study: Study, plan: PlannedPage) -> bool:
    """Whether the tables have something against a trial of a page's rider."""
    return any(error.rider == plan.rider and error.scope == "trial" for error in study.errors)


def _left_out_beforehand(study: Study, plan: PlannedPage) -> tuple[str, ...]:
    """Return why trials.csv excludes each trial of a page's rider; nothing where one is not excluded or is at fault."""
    trials = _trials_of(study, plan)
    if _has_faults(study, plan) or not trials["exclude"].all():
        return ()
    return reasons_of_excluded(trials)


def _is_exclusion(study: Study, plan: PlannedPage, failure: NotebookFailure) -> bool:
    """Whether a rider's notebook had no trial to work on because each was left out beforehand or by a rule."""
    reasons = [line.partition(": ")[2] for line in failure.each]
    by_choice = [reason.startswith((BEFOREHAND, BY_RULE)) for reason in reasons]
    return bool(plan.rider and by_choice) and all(by_choice) and not _has_faults(study, plan)


def _excluded_page(study: Study, out: Path, plan: PlannedPage, reasons: Sequence[str]) -> PageState:
    """Write the page that says why each trial was left out; a notebook that found none to work on does not stay."""
    (out / plan.notebook).unlink(missing_ok=True)
    _write(study, out, plan, excluded_body(plan.name, reasons))
    return PageState(plan.subject, plan.name, plan.page, "", "\n".join((EXCLUDED, *reasons)))


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
