"""How long pages take: by default and with a preloaded parent against plain papermill, one notebook after another.

    python tests/benchmarks/report_pages.py [RIDERS] [JOBS]

Ratios are of one run on one machine, whose pace drifts by a fifth and more within minutes; so the ways take turns, and
seconds of ours are means over the rounds. Plain papermill runs the same notebooks with the same parameters in the same
folder of links, each in an ordinary kernel of its own started anew and ended in the ordinary way; a share of them in
each round. Three things are compared: the riders' executed notebooks, all executed notebooks, and the whole report, for
which each notebook is written as a page and as a PDF, by the same code, one after the other behind papermill. Then
nothing is changed, then one rider, and the most memory that one process needed.
"""

from __future__ import annotations

import contextlib
import resource
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from analysis_lib.reports.execution.notebook_run import RunFolder, run_notebook
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.pages.pages import notebook_body, write_page
from analysis_lib.reports.running.page_making import PageMaking
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.running.ways_of_work import WayOfWork, open_making
from analysis_lib.reports.study.page_list import PlannedPage, planned_pages
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study

ROUNDS = 3


def main(riders: int = 24, jobs: int = 2) -> None:
    """Print seconds and ratios."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        study, plain = root / "study", root / "plain"
        small_study(study, riders=riders, duration_s=8.0)
        plain.mkdir()
        plans = planned_pages(open_study(study))
        of_riders, about_all = (
            [plan for plan in plans if plan.rider],
            [plan for plan in plans if not plan.rider],
        )
        ways = {"default": WayOfWork(jobs), "preloaded": WayOfWork(jobs, preload=True)}

        one_by_one = 0.0
        ours: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
        for turn in range(ROUNDS):
            one_by_one += _plain_papermill(study, plain, of_riders[turn::ROUNDS])
            for name, way in ways.items():
                ours[name].append(_notebooks_alone(study, root / f"{name}-{turn}", way))
        everything = one_by_one + _plain_papermill(study, plain, about_all)
        pages = everything + _pages(plain, plans)
        print(
            f"plain papermill, {riders} riders: their notebooks {one_by_one:.1f} s, all {everything:.1f} s,"
            f" with pages {pages:.1f} s"
        )
        for name, way in ways.items():
            first, alone = (statistics.mean(seconds) for seconds in zip(*ours[name], strict=True))
            each = ", ".join(f"{seconds:.1f}" for seconds, _ in ours[name])
            took, _ = _report(study, root / name, way)
            print(
                f"{name}, {jobs} jobs: riders' notebooks {first:.1f} s ({each}), {one_by_one / first:.2f} times faster;"
                f" all {alone:.1f} s, {everything / alone:.2f} times faster;"
                f" report {took:.1f} s, {pages / took:.2f} times faster"
            )
        took, made = _report(study, root / "default", WayOfWork(jobs))
        print(f"nothing changed: {took:.2f} s, made anew: {made or 'nothing'}")
        trials = study / "trials.csv"
        trials.write_text(trials.read_text().replace("R01-P1-easy,R01", "R01-P1-easy-again,R01", 1))
        took, made = _report(study, root / "default", WayOfWork(jobs))
        print(f"one rider changed: {took:.1f} s, made anew: {', '.join(made)}")
        for who, name in ((resource.RUSAGE_SELF, "the run"), (resource.RUSAGE_CHILDREN, "a kernel")):
            print(f"most memory of {name}: {resource.getrusage(who).ru_maxrss / 1024:.0f} MB")


def _plain_papermill(study: Path, out: Path, plans: Sequence[PlannedPage]) -> float:
    """Return the seconds that plain papermill takes for some of the notebooks."""
    import papermill  # loaded by the first round, before the clock; ours find it loaded too

    began = time.monotonic()
    with RunFolder(study, out) as folder, contextlib.chdir(folder.path):
        shutil.rmtree(folder.path / "kernels")  # a run's own; plain papermill finds the environment's
        for plan in plans:
            executed = out / plan.notebook
            executed.parent.mkdir(parents=True, exist_ok=True)
            papermill.execute_notebook(
                str(notebooks_folder() / plan.template),
                str(executed),
                parameters=plan.parameters,
                kernel_name="python3",
                progress_bar=False,
            )
    return time.monotonic() - began


def _pages(out: Path, plans: Sequence[PlannedPage]) -> float:
    """Return the seconds that it takes to write the pages of executed notebooks."""
    began = time.monotonic()
    for plan in plans:
        write_page(out / plan.page, plan.title, notebook_body(out / plan.notebook, plan.tables), "plain")
    return time.monotonic() - began


def _notebooks_alone(study_dir: Path, out: Path, way: WayOfWork) -> tuple[float, float]:
    """Return the seconds to the riders' and to all executed notebooks of our kernels, of which no page is written."""
    study = open_study(study_dir)
    plans = planned_pages(study)
    out.mkdir()

    def run(plan: PlannedPage) -> None:
        template, label = notebooks_folder() / plan.template, plan.subject.replace(" ", "-")
        failure = run_notebook(template, out / plan.notebook, plan.parameters, making.folder, label)
        assert failure is None, failure

    began = time.monotonic()
    with open_making(study, out, plans, way, print) as making, ThreadPoolExecutor(way.jobs) as pool:
        assert isinstance(making, PageMaking)
        list(pool.map(run, [plan for plan in plans if plan.rider]))
        of_riders = time.monotonic() - began
        list(pool.map(run, [plan for plan in plans if not plan.rider]))
    return of_riders, time.monotonic() - began


def _report(study: Path, out: Path, way: WayOfWork) -> tuple[float, list[str]]:
    began = time.monotonic()
    report = make_report(study, out, say=lambda line: None, way=way)
    return time.monotonic() - began, [page.name for page in report.pages if not page.unchanged]


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
