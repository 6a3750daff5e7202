"""Pages that a run of some pages left as they were, though the study they were made from is another now."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from analysis_lib.reports.files.page_records import NEVER, REMEDY
from analysis_lib.reports.record.page_origin import changed_since
from analysis_lib.reports.running.current_keys import CurrentKeys
from analysis_lib.reports.running.page_making import PageState
from analysis_lib.reports.study.page_list import QUALITY_PAGE, STUDY_PAGE, PlannedPage, planned_pages

MOST_NAMED = 4
"""Things that changed and are named, so that the recordings of a large study fill no line."""


def mark_out_of_date(current: CurrentKeys, made: Collection[str]) -> tuple[PageState, ...]:
    """Keep on record which pages no longer follow from the study, and return their states, those about all riders first.

    Pages of the subjects `made` in this run do; whatever was on record of that against others is looked at anew.
    """
    plans = {plan.subject: plan for plan in planned_pages(current.study)}
    found = []
    for _, record in current.on_record.records():
        subject = record["page"]["subject"]
        words = "" if subject in made else _why_out_of_date(current, plans.get(subject), record)
        current.on_record.mark(record, words)
        if words:
            found.append(PageState(**record["page"], outdated=words))
    about_all = (STUDY_PAGE.subject, QUALITY_PAGE.subject)
    return tuple(sorted(found, key=lambda page: [page.subject != subject for subject in about_all]))


def _why_out_of_date(current: CurrentKeys, plan: PlannedPage | None, record: Mapping[str, Any]) -> str:
    """Say since when a page no longer follows from the study as it is now; '' of one that does."""
    if plan is None:
        return "out of date: the study no longer has this page"
    failed = record["key"] == NEVER  # then the key tells nothing
    if not failed and record["key"] == current.now(plan):
        return ""
    changed = changed_since(current.study, plan, record.get("origin"))
    if failed and not changed:
        return ""
    unnamed = "the study" if plan.rider else "riders' pages or their recordings"
    return f"out of date: {'failed' if failed else 'made'} before {_named(changed) or unnamed} changed"


def _named(things: Sequence[str]) -> str:
    """Name a few things.

    >>> _named(["study.toml", "trials.csv"]), _named(["a", "b", "c", "d", "e", "f"])
    ('study.toml and trials.csv', 'a, b, c, d and 2 more')
    """
    some, more = list(things[:MOST_NAMED]), len(things) - MOST_NAMED
    some += [f"{more} more"] if more > 0 else []
    return " and ".join(filter(None, (", ".join(some[:-1]), *some[-1:])))


def lines_of_outdated(outdated: Sequence[PageState]) -> list[str]:
    """Return a line for each reason why pages are out of date, with a few of their names and what to do."""
    names: dict[str, list[str]] = {}
    for page in outdated:
        names.setdefault(page.outdated, []).append(page.name)
    return [f"{_named(of_one)}: {why}; {REMEDY}" for why, of_one in names.items()]


def caution_of_first_page(outdated: Sequence[PageState]) -> str:
    """Return what the report's first page says of pages that are out of date; '' where none is."""
    if not outdated:
        return ""
    said = f"Out of date, no longer what the study as it is now would give: {_named([page.name for page in outdated])}."
    if any(page.subject == STUDY_PAGE.subject for page in outdated):
        said += " So is the answer on the study's page and in results.json, which is not given here."
    return f"{said} To mend that, {REMEDY.replace('`', '')}."
