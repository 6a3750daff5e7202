"""Which pages a report has: each with its template, its parameters and the places of what it leaves."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

from analysis_lib.reports.files.opened_study import STUDY
from analysis_lib.reports.files.parameters import Scalar
from analysis_lib.reports.rider.joined_rings import compared_rings, pair_name
from analysis_lib.study.checks.folder import Study


@dataclass(frozen=True)
class PlannedPage:
    """One page of a report before it is made.

    ``subject`` names it in the record, ``name`` on the first page; ``stem`` is its place without suffix,
    ``riders/R01`` for example; ``template`` the notebook it is made from. A page about one rider names that
    ``rider``; a page about all is made after the riders' own, from the tables that they left. ``also`` lists files
    that it writes outside its own folders.
    """

    subject: str
    name: str
    title: str
    stem: str
    template: str
    parameters: dict[str, Scalar]
    rider: str = ""
    also: tuple[str, ...] = field(default=())

    @property
    def page(self) -> str:
        """The page's file below the report folder."""
        return f"{self.stem}.html"

    @property
    def paper(self) -> str:
        """The page's PDF below the report folder, where one could be made."""
        return f"{self.stem}.pdf"

    @property
    def notebook(self) -> str:
        """The executed notebook's file below the report folder."""
        return f"notebooks/{self.stem}.ipynb"

    @property
    def tables(self) -> str:
        """The folder of its tables as shown, seen from the page."""
        return f"{'../' * self.page.count('/')}tables/{self.stem}/as_shown"

    @property
    def roots(self) -> tuple[str, ...]:
        """Every place below the report folder that belongs to this page alone."""
        return (
            self.page,
            self.paper,
            self.notebook,
            f"tables/{self.stem}",
            f"figures/{self.stem}",
            *self.also,
        )


def planned_pages(study: Study) -> tuple[PlannedPage, ...]:
    """Return the pages of a study's report: every rider's, then those about all riders."""
    rings = compared_rings(study.settings)
    riders = tuple(_rider_page(str(rider), ring) for rider in study.riders["rider"] for ring in rings)
    return (*riders, QUALITY_PAGE, _page_about_all(len(riders), len(rings)))


def _page_about_all(riders: int, rings: int) -> PlannedPage:
    if rings > 1:
        return RINGS_PAGE
    return RIDER_ALONE_PAGE if riders == 1 else STUDY_PAGE


def read_answer(report: Path) -> list[str]:
    """Return the sentences that answer a report's question; none where no study page of this version left them."""
    try:
        return list(json.loads((report / RESULTS).read_text(encoding="utf-8"))["answer"])
    except (FileNotFoundError, ValueError, KeyError):
        return []


RESULTS = "results.json"
"""The study page's answer and estimates, for other programs and for the report's first page."""

PLACES: dict[str, Scalar] = {"study_dir": STUDY, "results_dir": "results"}
"""Folders as every notebook sees them: the run folder's own relative names."""

QUALITY_PAGE = PlannedPage(
    "the data",
    "The data",
    "Can the recordings carry the question?",
    "data_quality",
    "05_data_quality.ipynb",
    PLACES,
)
STUDY_PAGE = PlannedPage(
    "the study",
    "The study",
    "Round against oval: the study",
    "study",
    "04_study_report.ipynb",
    PLACES,
    also=(RESULTS,),
)


RINGS_PAGE = replace(
    STUDY_PAGE, title="Round against several oval rings: the study", template="09_several_rings.ipynb"
)
RIDER_ALONE_PAGE = replace(
    STUDY_PAGE, title="Round against oval: one rider", template="10_single_rider.ipynb"
)


def _rider_page(rider: str, ring: str) -> PlannedPage:
    """Plan the page of a rider on the round ring and one oval ring, which is named where there are several."""
    name = f"Rider {rider}, {ring} against round" if ring else f"Rider {rider}"
    return PlannedPage(
        pair_name(rider, ring),
        name,
        name,
        f"riders/{pair_name(rider, ring)}",
        "03_rider_report.ipynb",
        PLACES | {"rider": rider} | ({"ring": ring} if ring else {}),
        rider,
    )
