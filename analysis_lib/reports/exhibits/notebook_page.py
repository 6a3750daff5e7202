"""What a notebook says and shows, on screen and into the report folder."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import Literal

from IPython.core.getipython import get_ipython
from IPython.display import HTML, display

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.exhibits.exhibit import NO_FORMULAS, FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.intensity_labels import label_figure, label_table
from analysis_lib.reports.exhibits.other_scripts import letter_figures
from analysis_lib.reports.files.parameters import check_injected
from analysis_lib.reports.files.places import study_folder
from analysis_lib.study.declared.settings import FILE, StudySettings, read_settings

Tone = Literal["answer", "plain", "caution"]


@dataclass(frozen=True)
class NotebookPage:
    """Where a notebook's exhibits go: to its own output, and below `results` when that is a folder.

    ``subject`` is the folder of its exhibits there, for example ``riders/R01`` or ``study``; ``intensities`` says what
    the page calls each intensity, by its name.
    """

    results: Path | None
    subject: str
    intensities: Mapping[str, str] = field(default_factory=dict)

    def show(self, *exhibits: FigureExhibit | TableExhibit) -> None:
        """Save each exhibit, which draws a figure's files at once, and show it under the cell."""
        for exhibit in exhibits:
            shown = self._labelled(exhibit)
            if self.results is not None:
                exhibit.save(self.results / _folder_of(exhibit, self.subject))
            display(shown)

    def _labelled(self, exhibit: FigureExhibit | TableExhibit) -> FigureExhibit | TableExhibit:
        """Call intensities by their labels; a figure's files do so too, numbers in files keep the names."""
        if isinstance(exhibit, TableExhibit):
            return label_table(exhibit, self.intensities)
        label_figure(exhibit.figure, self.intensities)
        return exhibit

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


def open_page(results_dir: str, subject: str, study_dir: str | None = None) -> NotebookPage:
    """Return the page of one notebook run; an empty `results_dir` saves nothing.

    With the study's folder (empty: the demo study) the page calls intensities by their labels, and says first of which
    letters there is no font; a notebook on its own also says where its data are simulated, as every page of a report does
    below its title.

    Raises
    ------
    Refusal
        Where papermill was given a parameter that the notebook does not declare, or of another kind.
    """
    if shell := get_ipython():
        check_injected(shell.user_ns.get("In", ()))
    settings = None if study_dir is None else _settings_of(study_dir)
    labels = settings.intensity_labels if settings else {}
    page = NotebookPage(Path(results_dir) if results_dir else None, subject, labels)
    if settings:
        page.say("" if results_dir else settings.study.notice, letter_figures(settings), tone="caution")
    return page


def _settings_of(study_dir: str) -> StudySettings | None:
    """Read a study's settings; none where they cannot be read, which its analysis will say."""
    try:
        return read_settings(study_folder(study_dir) / FILE)
    except Refusals:
        return None


def _folder_of(exhibit: FigureExhibit | TableExhibit, subject: str) -> Path:
    """Figures have a folder of their own; tables as shown stand apart from those that later steps read."""
    if isinstance(exhibit, FigureExhibit):
        return Path("figures", subject)
    return Path("tables", subject, "as_shown")
