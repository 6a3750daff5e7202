"""What a run writes last: the report's first page, the record of the run and the research object."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from analysis_lib.reports.files.page_records import OUT_OF_DATE, PageKeys
from analysis_lib.reports.files.run_record import write_run_record
from analysis_lib.reports.pages.pages import IndexEntry, index_body, linked_answer, write_page
from analysis_lib.reports.record.page_origin import checksums_of, command_for, inputs_of_study, software
from analysis_lib.reports.record.run_crate import write_run_crate
from analysis_lib.reports.rider.rider_tables import faults_of_recordings
from analysis_lib.reports.running.out_of_date import caution_of_first_page
from analysis_lib.reports.running.page_making import PageState, faults_of_failed
from analysis_lib.reports.study.page_list import (
    QUALITY_PAGE,
    STUDY_PAGE,
    PlannedPage,
    planned_pages,
    read_answer,
)
from analysis_lib.study.checks.alike import grouped
from analysis_lib.study.checks.folder import Study


def lost_recordings(
    study: Study, out: Path, riders: Collection[str], states: Sequence[PageState]
) -> tuple[str, ...]:
    """Return what stopped recordings: by the tables of riders' pages, and by what failed pages say of each trial."""
    return (*faults_of_recordings(str(out), riders), *faults_of_failed(study, states))


def changed_meanwhile(study: Study, before: Mapping[str, str]) -> str:
    """Say which files of a study are others than `before`, by SHA-256, and what then holds; "" where none is.

    A run makes its pages from the study as it opened it, and its record names the files as they are at its end.
    """
    changed = [name for name, sha in checksums_of(study.root, list(before)).items() if sha != before[name]]
    if not changed:
        return ""
    return (
        f"{', '.join(changed)} changed while the run was at work; pages follow from what was there at its start: give the"
        " same command again"
    )


def _first_the_study(plan: PlannedPage) -> tuple[bool, bool]:
    return bool(plan.rider), plan == QUALITY_PAGE


def finish_report(study: Study, out: Path, keys: PageKeys, only_rider: str, printed: str) -> tuple[str, ...]:
    """Write the first page and the records of the run, from all pages that the folder holds; the crate last.

    The first page is not printed again where it is the one `printed`, by its SHA-256; it gives no answer of a study's page
    that is out of date. Returned is what stopped recordings of any rider.
    """
    held = {
        record["page"]["subject"]: PageState(**record["page"], outdated=str(record.get(OUT_OF_DATE, "")))
        for _, record in keys.records()
    }
    plans = [plan for plan in planned_pages(study) if plan.subject in held]
    states = [held[plan.subject] for plan in sorted(plans, key=_first_the_study)]
    planned = {plan.subject for plan in plans}
    states += [state for subject, state in held.items() if subject not in planned]
    entries = [IndexEntry(state.name, state.page, state.headline, state.notebook) for state in states]
    riders = {plan.rider for plan in plans if plan.rider}
    faults = lost_recordings(study, out, riders, states)
    problems = grouped([*map(str, study.problems), *faults], study.names)
    outdated = [state for state in states if state.outdated]
    stale = any(state.subject == STUDY_PAGE.subject for state in outdated)
    answer = [] if stale else linked_answer(out / STUDY_PAGE.page, read_answer(out), STUDY_PAGE.page)
    body = index_body(
        study.settings.study.question, answer, entries, problems, caution_of_first_page(outdated)
    )
    heading = study.settings.study
    write_page(
        out / "index.html",
        "All pages of this report",
        body,
        heading.name,
        notice=heading.notice,
        printed=printed,
    )
    write_run_record(
        out / "run.json",
        software(),
        command_for(only_rider),
        study.settings.study.seed,
        inputs_of_study(study),
        {state.subject: state.words for state in states},
        {plan.subject: plan.parameters for plan in plans if held[plan.subject].notebook},
    )
    write_run_crate(out, study)
    return faults
