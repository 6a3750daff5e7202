"""The key that each page of a study has: as a run makes it, and as the study is now."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from analysis_lib.reports.files.page_keys import StudyInputs, digest, page_key
from analysis_lib.reports.files.page_records import NEVER, PageKeys
from analysis_lib.reports.record.page_origin import changed_since, checksums_of, frozen_plan
from analysis_lib.reports.study.page_list import PlannedPage, planned_pages
from analysis_lib.study.checks.folder import Study


@dataclass(frozen=True)
class CurrentKeys:
    """Keys of a study's pages beside those that a report has on record."""

    study: Study
    on_record: PageKeys
    inputs: StudyInputs
    _now: dict[str, str] = field(default_factory=dict)

    def to_make(self, plan: PlannedPage) -> str:
        """Return the key of a page that is made from the riders' pages as they stand in the report."""
        return self._key(plan, self._left_by)

    def now(self, plan: PlannedPage) -> str:
        """Return the key that a page would have if all were made now, also the riders' pages that it follows from."""
        if plan.subject not in self._now:
            self._now[plan.subject] = self._key(plan, self._would_be_left_by)
        return self._now[plan.subject]

    def _key(self, plan: PlannedPage, of_rider: Callable[[PlannedPage], str]) -> str:
        """A rider's page follows from that rider's inputs, a page about all from the riders' pages and the tables."""
        if plan.rider:
            inputs = self.inputs.of_rider(plan.rider)
        else:
            riders = [page for page in planned_pages(self.study) if page.rider]
            inputs = {page.subject: of_rider(page) for page in riders}
            protocol = checksums_of(self.study.root, frozen_plan(self.study))
            inputs |= {"plan": protocol, "subject": plan.subject, "tables": self.inputs.of_all()}
        return page_key(self.study, plan.template, plan.parameters, inputs)

    def _left_by(self, page: PlannedPage) -> str:
        """What stands for a rider's page: its key; of one that failed the files that it left, tables may be among them."""
        record = self.on_record.of(page.subject)
        return digest(record.get("files", {})) if record.get("key") == NEVER else record.get("key", "")

    def _would_be_left_by(self, page: PlannedPage) -> str:
        """The same if the page were made now; one that failed fails again unless what it was made from changed."""
        record = self.on_record.of(page.subject)
        fails = record.get("key") == NEVER and not changed_since(self.study, page, record.get("origin"))
        return self._left_by(page) if fails else self.now(page)
