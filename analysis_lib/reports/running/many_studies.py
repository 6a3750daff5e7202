"""The reports of several studies, each in a folder of its own, with a first page over them all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.execution.kernel_parent import why_no_fork
from analysis_lib.reports.files.pdf_page import why_no_pdf
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.reports.pages.pages import IndexEntry, linked_answer, studies_body, write_page
from analysis_lib.reports.running.progress import Say
from analysis_lib.reports.running.runner import Report, make_report
from analysis_lib.reports.running.ways_of_work import WayOfWork
from analysis_lib.reports.study.page_list import STUDY_PAGE, read_answer
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.declared.settings import FILE, read_settings

MARK = "studies.txt"
"""Names the studies that the first page of a folder is about; without it a first page is somebody else's."""


@dataclass(frozen=True)
class StudyState:
    """What became of one study: its report, or why there is none."""

    name: str
    report: Report | None
    cause: str = ""
    notice: str = ""

    @property
    def words(self) -> str:
        """The state in words."""
        if self.report is None:
            return f"no report: {self.cause}"
        failed = [page.name for page in self.report.pages if page.failed]
        waiting = sum(page.waiting for page in self.report.pages)
        excluded = sum(page.excluded for page in self.report.pages)
        left_out = len(self.report.problems) + len(self.report.faults)
        parts = [f"failed: {', '.join(failed)}"] if failed else []
        parts += [f"faults that kept cells, rows or recordings out: {left_out}"] if left_out else []
        parts += [] if parts else ["all pages made"]
        parts += [f"{show_count(waiting, 'page')} waiting for trials"] if waiting else []
        parts += (
            [f"{show_count(excluded, 'page')} of riders whose trials are all excluded"] if excluded else []
        )
        return "; ".join(parts)


@dataclass(frozen=True)
class Reports:
    """The folder of several reports and the state of each."""

    folder: Path
    studies: tuple[StudyState, ...]

    @property
    def exit_code(self) -> int:
        """0 when all of every study was made, 2 when no study could be read at all, 1 for anything between."""
        reports = [study.report for study in self.studies]
        if all(report is None for report in reports):
            return 2
        return 0 if all(report is not None and report.exit_code == 0 for report in reports) else 1

    @property
    def summary(self) -> str:
        """One line a study."""
        width = max(len(study.name) for study in self.studies)
        return "\n".join(f"{study.name:<{width}}  {study.words}" for study in self.studies)


def report_studies(
    studies: Sequence[Path], out: Path, fresh: bool = False, way: WayOfWork | None = None, say: Say = print
) -> Reports:
    """Make each study's report in `out`/NAME, NAME being its folder's; one that is refused does not stop the others.

    Raises
    ------
    Refusal
        Two studies of one name, or an output folder inside a study or with a first page of something else.
    KeyboardInterrupt
        When the user stops the run.
    """
    folders, out = [study.resolve() for study in studies], out.resolve()
    _check_names(folders)
    _check_folder(folders, out)
    say = _said_once(say, way)
    states = []
    for folder in folders:
        say(f"{folder.name}:")
        states.append(_report_study(folder, out / folder.name, fresh, way, say))
    made = Reports(out, tuple(states))
    _write_first_page(made)
    return made


def _said_once(say: Say, way: WayOfWork | None) -> Say:
    """Say what holds for every study on this machine, and return what says all but that."""
    common = [why_no_pdf(), why_no_fork() if way and way.preload else ""]
    for line in filter(None, common):
        say(line)
    return lambda line: None if line in common else say(line)


def _report_study(folder: Path, out: Path, fresh: bool, way: WayOfWork | None, say: Say) -> StudyState:
    try:
        report = make_report(folder, out, fresh=fresh, say=say, way=way)
    except Refusals as several:
        cause = "; ".join(str(refusal) for refusal in several.refusals)
    except Refusal as refusal:
        cause = str(refusal)
    else:
        say(report.summary)
        return StudyState(folder.name, report, notice=read_settings(folder / FILE).study.notice)
    say(cause)
    return StudyState(folder.name, None, cause)


def _check_names(folders: Sequence[Path]) -> None:
    names = [folder.name for folder in folders]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise Refusal(
            f"studies named {', '.join(twice)}",
            "two folders of one name",
            "a name for each study, because its report is named after it",
            "rename a folder, or report them into different --out",
        )


def _check_folder(folders: Sequence[Path], out: Path) -> None:
    inside = [folder.name for folder in folders if out.is_relative_to(folder)]
    if inside:
        raise Refusal(
            f"output folder {out.name}",
            f"a folder inside the study {inside[0]}",
            "a folder outside every study, because raw data are never written to",
            "choose another --out",
        )
    foreign = [name for name in ("index.html", "index.pdf") if (out / name).exists()]
    if foreign and not (out / MARK).is_file():
        raise Refusal(
            f"output folder {out.name}",
            f"a folder with an {foreign[0]} of something else",
            "a folder without, or one of earlier reports of several studies",
            "choose another --out; nothing was touched",
        )


def _write_first_page(made: Reports) -> None:
    """Write the first page over the reports of this run, and beside it the mark that it is ours."""
    entries = [
        IndexEntry(
            study.name,
            f"{study.name}/index.html" if study.report else "",
            study.words,
            answer=_said_first(study, made.folder) if study.report else (),
        )
        for study in made.studies
    ]
    write_text_whole(made.folder / MARK, "".join(f"{study.name}\n" for study in made.studies))
    write_page(made.folder / "index.html", "Reports of several studies", studies_body(entries), "Studies")


def _said_first(study: StudyState, out: Path) -> tuple[str, ...]:
    """A study's answer, behind the notice that its data are simulated where they are."""
    page = out / study.name / STUDY_PAGE.page
    answer = linked_answer(page, read_answer(page.parent), f"{quote(study.name)}/{page.name}")
    return tuple(filter(None, (study.notice, *answer)))
