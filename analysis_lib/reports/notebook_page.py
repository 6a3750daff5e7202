"""What a notebook says and shows, on screen and into the report folder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Literal

from IPython.display import HTML, display

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibit import NO_FORMULAS, FigureExhibit, TableExhibit

Tone = Literal["answer", "plain", "caution"]


@dataclass(frozen=True)
class NotebookPage:
    """Where a notebook's exhibits go: to its own output, and below `results` when that is a folder.

    ``subject`` is the folder of its exhibits there, for example ``riders/R01`` or ``study``.
    """

    results: Path | None
    subject: str

    def show(self, *exhibits: FigureExhibit | TableExhibit) -> None:
        """Show each exhibit under the cell and save it."""
        for exhibit in exhibits:
            display(exhibit)
            if self.results is not None:
                exhibit.save(self.results / _folder_of(exhibit, self.subject))

    def say(self, *sentences: str, tone: Tone = "plain", rows_of: Sequence[str] = ()) -> None:
        """Show sentences as one paragraph each; any markup in them is shown, not run.

        On the report's page their numbers become links to the rows that hold them, of the tables named by `rows_of`, or
        else of those under the same heading.
        """
        named = f' data-rows-of="{escape(" ".join(rows_of))}"' if rows_of else ""
        said = (
            f'<p class="said {NO_FORMULAS}"{named}>{escape(sentence)}</p>'
            for sentence in sentences
            if sentence
        )
        if paragraphs := "".join(said):
            display(HTML(paragraphs if tone == "plain" else f'<div class="{tone}">{paragraphs}</div>'))

    @contextmanager
    def saying_why_not(self, what: str = "This section") -> Iterator[None]:
        """Say what stands in the way of a section that these data cannot carry, and go on with the page."""
        try:
            yield
        except Refusal as refusal:
            self.say(f"{what} cannot be written: {refusal}", tone="caution")


def open_page(results_dir: str, subject: str) -> NotebookPage:
    """Return the page of one notebook run; an empty `results_dir` saves nothing."""
    return NotebookPage(Path(results_dir) if results_dir else None, subject)


def _folder_of(exhibit: FigureExhibit | TableExhibit, subject: str) -> Path:
    """Figures have a folder of their own; tables as shown stand apart from those that later steps read."""
    if isinstance(exhibit, FigureExhibit):
        return Path("figures", subject)
    return Path("tables", subject, "as_shown")
