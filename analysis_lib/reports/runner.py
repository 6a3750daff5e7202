"""The runner: from a study folder to its report folder."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.notebook_run import NotebookFailure, RunFolder, run_notebook
from analysis_lib.reports.one_run import alone_in
from analysis_lib.reports.page_keys import PageKeys, page_key, rider_inputs
from analysis_lib.reports.pages import IndexEntry, failure_body, index_body, notebook_body, write_page
from analysis_lib.reports.parameters import Scalar, check_parameters
from analysis_lib.reports.places import notebooks_folder
from analysis_lib.reports.rider_analysis import blocking_problems
from analysis_lib.reports.run_record import checksums, write_run_record
from analysis_lib.study.folder import Study, open_study

RIDER_NOTEBOOK = "03_rider_report.ipynb"
STUDY_NOTEBOOK = "04_study_report.ipynb"
QUALITY_NOTEBOOK = "05_data_quality.ipynb"
QUALITY, STUDY = "the data", "the study"
STUDY_PAGES = {
    QUALITY: ("data_quality.html", QUALITY_NOTEBOOK, "Can the recordings carry the question?"),
    STUDY: ("study.html", STUDY_NOTEBOOK, "Round against oval: the study"),
}
"""Pages about all riders, made after the riders' own: subject to (page, notebook, title)."""

NEVER = "failed"
"""Recorded in place of a failed page's key, so that it equals none."""

Say = Callable[[str], None]


@dataclass(frozen=True)
class PageState:
    """What became of one page: its subject, its file, and the cause when it failed."""

    subject: str
    page: str
    notebook: str
    cause: str = ""
    unchanged: bool = False

    @property
    def made(self) -> bool:
        """Whether the page holds results."""
        return not self.cause

    @property
    def words(self) -> str:
        """The state in words for the index and the record."""
        return "made" if self.made else f"failed: {self.cause}"


@dataclass(frozen=True)
class Report:
    """A report folder and the state of each of its pages."""

    folder: Path
    pages: tuple[PageState, ...]
    problems: tuple[str, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 when every page was made from every listed row, 1 when a page failed or a problem kept rows out."""
        return 0 if all(page.made for page in self.pages) and not self.problems else 1

    @property
    def summary(self) -> str:
        """How many pages were made, unchanged and failed."""
        failed = sum(not page.made for page in self.pages)
        unchanged = sum(page.made and page.unchanged for page in self.pages)
        return f"{len(self.pages) - failed - unchanged} made, {unchanged} unchanged, {failed} failed"


def make_report(
    study_dir: Path,
    out: Path,
    only_rider: str = "",
    jobs: int = 1,
    fresh: bool = False,
    say: Say = print,
    command: str = "report",
) -> Report:
    """Run the notebooks of a study and write its pages, tables, figures and record below `out`.

    Parameters
    ----------
    study_dir, out : Path
        The study folder, which is only read, and the folder to fill, which must lie outside it.
    only_rider : str
        Make this rider's page alone and leave the others and the study's page as they are.
    jobs : int
        Kernels at work at the same time.
    fresh : bool
        Make every page again, also those that would come out unchanged.

    Raises
    ------
    Refusal, Refusals
        When the study or the output folder cannot be used at all; a fault of one rider fails that page only.
    """
    study_dir, out = study_dir.resolve(), out.resolve()
    study = open_study(study_dir)
    riders = _chosen_riders(study, only_rider)
    _check_outside(out, study.root)
    keys = PageKeys(out)
    keys.open(fresh)
    with RunFolder(study.root, out) as folder, alone_in(out):
        run = _Run(study, out, folder, keys, say)
        run.check_all_parameters(riders)
        with ThreadPoolExecutor(max_workers=jobs) as pool:
            pages = list(pool.map(run.make_rider_page, riders))
            if not only_rider:
                run.drop_strangers(riders)
                pages += pool.map(run.make_study_page, STUDY_PAGES)
    _finish(study, out, keys, command)
    return Report(out, tuple(pages), tuple(str(problem) for problem in study.errors))


def _chosen_riders(study: Study, only_rider: str) -> list[str]:
    known = [str(rider) for rider in study.riders["rider"]]
    if not only_rider:
        return known
    if only_rider not in known:
        raise Refusal(
            "option --rider", only_rider, "one of " + ", ".join(known), "choose a rider that riders.csv lists"
        )
    return [only_rider]


def _check_outside(out: Path, study_root: Path) -> None:
    if out.is_relative_to(study_root.resolve()):
        raise Refusal(
            f"output folder {out.name}",
            "a folder inside the study",
            "a folder outside it, because raw data are never written to",
            "choose another --out",
        )


@dataclass(frozen=True)
class _Run:
    """What every page of one run shares."""

    study: Study
    out: Path
    folder: RunFolder
    keys: PageKeys
    say: Say

    def check_all_parameters(self, riders: Sequence[str]) -> None:
        """Check the parameters of every notebook before the first kernel starts."""
        for rider in riders:
            check_parameters(notebooks_folder() / RIDER_NOTEBOOK, dict(rider_parameters(rider)))
        for _, notebook, _ in STUDY_PAGES.values():
            check_parameters(notebooks_folder() / notebook, dict(study_parameters()))

    def drop_strangers(self, riders: Sequence[str]) -> None:
        """Remove the pages of riders who are no longer in the study."""
        for subject in self.keys.subjects():
            if self.keys.of(subject)["page"]["subject"] not in (*riders, *STUDY_PAGES):
                self.keys.forget(subject)

    def make_rider_page(self, rider: str) -> PageState:
        """Make one rider's page, unless nothing that it follows from has changed."""
        state = PageState(rider, f"riders/{rider}.html", f"notebooks/riders/{rider}.ipynb")
        inputs = rider_inputs(self.study, rider)
        key = page_key(self.study, RIDER_NOTEBOOK, rider_parameters(rider), inputs)
        roots = [state.page, state.notebook, f"tables/riders/{rider}", f"figures/riders/{rider}"]
        return self._keep_or_make(state, key, roots, lambda: self._rider_page(state, rider))

    def _rider_page(self, state: PageState, rider: str) -> PageState:
        problems = [str(problem) for problem in blocking_problems(self.study, rider)]
        if problems:
            state = PageState(rider, state.page, "", problems[0])
            self._write(state, f"Rider {rider}", failure_body(f"rider {rider}", None, problems))
            return state
        return self._run(state, RIDER_NOTEBOOK, rider_parameters(rider), f"rider {rider}", f"Rider {rider}")

    def make_study_page(self, subject: str) -> PageState:
        """Make one of the pages about all riders, from the tables that the riders' pages left behind."""
        page, notebook, title = STUDY_PAGES[subject]
        name = Path(page).stem
        state = PageState(subject, page, f"notebooks/{name}.ipynb")
        riders = [str(rider) for rider in self.study.riders["rider"]]
        inputs = {rider: self.keys.of(rider).get("key", "") for rider in riders}
        inputs["plan"] = str(checksums(self.study.root, "plan/**/*"))
        key = page_key(self.study, notebook, study_parameters(), inputs | {"subject": subject})
        roots = [page, state.notebook, f"tables/{name}", f"figures/{name}"]
        roots += ["results.json"] if subject == STUDY else []
        make = lambda: self._run(state, notebook, study_parameters(), subject, title)  # noqa: E731
        return self._keep_or_make(state, key, roots, make)

    def _keep_or_make(
        self, state: PageState, key: str, roots: Sequence[str], make: Callable[[], PageState]
    ) -> PageState:
        """Keep an unchanged page; else clear what it left, make it and record it. A failed page is always tried again."""
        began = time.monotonic()
        if self.keys.unchanged(state.subject, key):
            kept = self.keys.of(state.subject)["page"]
            state = PageState(kept["subject"], kept["page"], kept["notebook"], kept["cause"], unchanged=True)
        else:
            self.keys.forget(state.subject)
            self.keys.clear(roots)
            state = make()
            page = {
                "subject": state.subject,
                "page": state.page,
                "notebook": state.notebook,
                "cause": state.cause,
            }
            self.keys.keep(state.subject, key if state.made else NEVER, page, roots)
        words = "unchanged" if state.unchanged and state.made else state.words
        self.say(f"{_title(state.subject)}: {words} ({time.monotonic() - began:.1f} s, key {key[:12]})")
        return state

    def _run(
        self, state: PageState, template: str, parameters: dict[str, Scalar], subject: str, title: str
    ) -> PageState:
        failure = self._execute(template, state, parameters)
        if failure is None:
            self._write(state, title, notebook_body(self.out / state.notebook))
            return state
        self._write(state, title, failure_body(subject, failure))
        executed = state.notebook if (self.out / state.notebook).is_file() else ""
        return PageState(state.subject, state.page, executed, failure.cause)

    def _execute(
        self, template: str, state: PageState, parameters: dict[str, Scalar]
    ) -> NotebookFailure | None:
        notebook = notebooks_folder() / template
        label = state.subject.replace(" ", "-")
        return run_notebook(notebook, self.out / state.notebook, parameters, self.folder, label)

    def _write(self, state: PageState, title: str, body: str) -> None:
        home = "../index.html" if "/" in state.page else "index.html"
        write_page(self.out / state.page, title, body, self.study.settings.study.name, home)


def rider_parameters(rider: str) -> dict[str, Scalar]:
    """Return the parameters of a rider's notebook; folders are the run folder's own relative names."""
    return {"study_dir": "study", "rider": rider, "results_dir": "results"}


def study_parameters() -> dict[str, Scalar]:
    """Return the parameters of the study's notebook."""
    return {"study_dir": "study", "results_dir": "results"}


def _finish(study: Study, out: Path, keys: PageKeys, command: str) -> None:
    """Write the first page and the record of the run, from all pages that the folder holds."""
    records = [keys.of(subject) for subject in keys.subjects()]
    pages = sorted(
        (record["page"] for record in records),
        key=lambda page: (page["subject"] not in STUDY_PAGES, page["subject"]),
    )
    states = [PageState(page["subject"], page["page"], page["notebook"], page["cause"]) for page in pages]
    entries = [IndexEntry(_title(state.subject), state.page, state.words, state.notebook) for state in states]
    problems = [str(problem) for problem in study.problems]
    body = index_body(study.settings.study.question, entries, problems)
    write_page(out / "index.html", "All pages of this report", body, study.settings.study.name)
    write_run_record(
        out / "run.json",
        study.root,
        command,
        study.settings.study.seed,
        {state.subject: state.words for state in states},
        {state.subject: _parameters_of(state.subject) for state in states if state.notebook},
    )


def _parameters_of(subject: str) -> dict[str, Scalar]:
    return study_parameters() if subject in STUDY_PAGES else rider_parameters(subject)


def _title(subject: str) -> str:
    return subject.capitalize() if subject in STUDY_PAGES else f"Rider {subject}"
