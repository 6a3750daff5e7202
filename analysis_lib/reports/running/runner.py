"""The runner: from a study folder to its report folder."""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.other_scripts import letter_figures
from analysis_lib.reports.files.page_keys import StudyInputs
from analysis_lib.reports.files.page_records import NEVER, PageKeys
from analysis_lib.reports.files.parameters import check_parameters
from analysis_lib.reports.files.pdf_page import why_no_pdf
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.record.page_origin import (
    checksums_of,
    files_about_all,
    page_origin,
)
from analysis_lib.reports.record.printed_first_page import first_page_printed
from analysis_lib.reports.record.whose_report import check_same_study
from analysis_lib.reports.running.current_keys import CurrentKeys
from analysis_lib.reports.running.one_run import alone_in
from analysis_lib.reports.running.out_of_date import mark_out_of_date
from analysis_lib.reports.running.page_making import PageState, RunStopped
from analysis_lib.reports.running.progress import Progress, Say, end_table
from analysis_lib.reports.running.report_end import changed_meanwhile, finish_report, lost_recordings
from analysis_lib.reports.running.ways_of_work import Making, WayOfWork, open_making
from analysis_lib.reports.study.page_list import PlannedPage, planned_pages
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.tables.named_folder import check_study_folder


@dataclass(frozen=True)
class Report:
    """A report folder, the state of each of its pages, problems of the tables, and faults that stopped recordings.

    Of a run of one rider's page alone, no other rider's; but ``outdated`` are the pages that such a run left as they were
    though the study is another now.
    """

    folder: Path
    pages: tuple[PageState, ...]
    problems: tuple[str, ...] = ()
    elapsed_s: float = 0.0
    faults: tuple[str, ...] = ()
    outdated: tuple[PageState, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 when no page failed and nothing listed was lost but what trials.csv or a rule excludes, else 1."""
        lost = self.problems or self.faults or any(page.failed for page in self.pages)
        return 1 if lost else 0

    @property
    def summary(self) -> str:
        """The table of pages done, unchanged and failed, with times, and of those out of date."""
        return end_table(self.pages, self.elapsed_s, self.outdated)


def make_report(
    study_dir: Path | Study,
    out: Path,
    only_rider: str = "",
    jobs: int = 1,
    fresh: bool = False,
    say: Say = print,
    way: WayOfWork | None = None,
    subjects: Collection[str] | None = None,
) -> Report:
    """Run the notebooks of a study and write its pages, tables, figures and record below `out`.

    Parameters
    ----------
    study_dir : Path or Study
        The study folder, which is only read; or the study as it was opened, from its resolved path.
    out : Path
        The folder to fill, which must lie outside the study's.
    only_rider : str
        Make this rider's page alone and leave the others and the study's page as they are.
    jobs : int
        Kernels at work at the same time.
    fresh : bool
        Make every page asked for again, also those that would come out unchanged.
    way : WayOfWork, optional
        Where and how pages are made, in place of `jobs` kernels started anew on this machine.
    subjects : collection of str, optional
        Make only the pages of these subjects and leave the others as they are.

    Raises
    ------
    Refusal, Refusals
        When the study or the output folder cannot be used at all, or the folder holds another study's report; a fault of
        one rider fails that page only.
    KeyboardInterrupt
        When the user stops the run: all kernels are ended, finished pages are kept, and the words say how to go on.
    """
    began = time.monotonic()
    out = out.resolve()
    study = study_dir if isinstance(study_dir, Study) else _open(study_dir)
    opened = checksums_of(study.root, files_about_all(study))
    _check_recorded(study)
    plans = _chosen_pages(study, only_rider, subjects)
    _check_outside(out, study.root)
    keys = PageKeys(out)
    keys.open()
    check_same_study(study, keys)
    for lacking in filter(None, (why_no_pdf(), letter_figures(study.settings))):
        say(lacking)
    for plan in plans:  # before the first kernel starts
        check_parameters(notebooks_folder() / plan.template, dict(plan.parameters))
    with alone_in(out), open_making(study, out, plans, way or WayOfWork(jobs), say) as making:
        current = CurrentKeys(study, keys, StudyInputs(study))
        run = _Run(study, out, making, keys, Progress(say, len(plans)), current)
        if not only_rider and subjects is None:
            run.drop_strangers(plans)
        if fresh:  # not before the folder is this run's alone: another may be at work on these pages
            for plan in plans:
                keys.forget(plan.subject)
        keys.begin(plan.subject for plan in plans)
        pages = run.make_all(plans)
        outdated = mark_out_of_date(current, {plan.subject for plan in plans})
        faults = finish_report(study, out, keys, only_rider, "" if fresh else first_page_printed(out))
        keys.end()
    if changed := changed_meanwhile(study, opened):
        say(changed)
    errors = [error for error in study.errors if not only_rider or error.rider in ("", only_rider)]
    return Report(
        out,
        tuple(pages),
        tuple(dict.fromkeys(map(str, errors))),
        time.monotonic() - began,
        lost_recordings(study, out, {only_rider}, pages) if only_rider else faults,
        outdated,
    )


def _open(study_dir: Path) -> Study:
    """Open a study from its resolved path; a folder that is not there is named as the user named it."""
    check_study_folder(study_dir)
    return open_study(study_dir.resolve())


def _check_recorded(study: Study) -> None:
    """Refuse a study of which no trial was listed: every page would fail."""
    if study.trials.empty and not any(problem.scope == "trial" for problem in study.errors):
        raise Refusal(
            "trials.csv",
            "no trial",
            "one trial or more",
            "nothing was recorded yet: list each trial once it is ridden",
        )


def _chosen_pages(study: Study, only_rider: str, subjects: Collection[str] | None) -> tuple[PlannedPage, ...]:
    """Return the pages to make: all, or those of one rider, or of some subjects."""
    known = [str(rider) for rider in study.riders["rider"]]
    if only_rider and only_rider not in known:
        raise Refusal(
            "option --rider", only_rider, "one of " + ", ".join(known), "choose a rider that riders.csv lists"
        )
    return tuple(
        plan
        for plan in planned_pages(study)
        if (not only_rider or plan.rider == only_rider) and (subjects is None or plan.subject in subjects)
    )


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
    making: Making
    keys: PageKeys
    progress: Progress
    current: CurrentKeys

    def make_all(self, plans: Sequence[PlannedPage]) -> list[PageState]:
        """Make the riders' pages, then those about all. Whatever stops the run ends what is being made."""
        pool = ThreadPoolExecutor(max_workers=self.making.places)
        try:
            pages = list(pool.map(self.make_page, [plan for plan in plans if plan.rider]))
            pages += pool.map(self.make_page, [plan for plan in plans if not plan.rider])
        except BaseException as stopped:
            by_hand = isinstance(stopped, KeyboardInterrupt)
            if by_hand:
                self.progress.say(f"\n{self.making.stopping}")
            self.making.stop()
            pool.shutdown(cancel_futures=True)
            if by_hand:
                raise KeyboardInterrupt(
                    f"stopped with {self.progress.through} of {self.progress.total} pages through; all kernels are"
                    " ended, finished pages are kept, and the same command goes on from there"
                ) from stopped
            raise
        pool.shutdown()
        return pages

    def drop_strangers(self, plans: Sequence[PlannedPage]) -> None:
        """Remove the pages that are no longer the study's, such as those of a rider taken out."""
        planned = {plan.subject for plan in plans}
        for name, record in self.keys.records():
            if record["page"]["subject"] not in planned:
                self.keys.forget(name)

    def make_page(self, plan: PlannedPage) -> PageState:
        """Keep an unchanged page; else clear what it left, make it and record it. A failed page is always tried again."""
        began = time.monotonic()
        key = self.current.to_make(plan)
        if self.keys.unchanged(plan.subject, key):
            state = PageState(**self.keys.of(plan.subject)["page"], unchanged=True)
        else:
            self.keys.forget(plan.subject)
            self.keys.clear(plan.roots)
            origin = page_origin(self.study, plan, self.out)
            state = self._make(plan)
            self.keys.keep(plan.subject, NEVER if state.failed else key, state.on_record, plan.roots, origin)
        state = replace(state, seconds=time.monotonic() - began)
        self.progress.tell(state, key)
        return state

    def _make(self, plan: PlannedPage) -> PageState:
        try:
            return self.making.make(plan)
        except RunStopped:
            self.keys.clear(plan.roots)
            raise
