"""How long pages take: by default and with a preloaded parent against plain papermill, one notebook after another.

    python tests/benchmarks/report_pages.py [RIDERS] [JOBS]

Ratios are of one run on one machine; seconds drift with its load. Plain papermill runs the same notebooks with the same
parameters in the same folder of links, each in a kernel of its own started anew and ended in the ordinary way, and writes
no page; ours writes HTML and PDF too. Then nothing is changed, then one rider, and the most memory that one process needed.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from pathlib import Path

from analysis_lib.reports.notebook_run import RunFolder
from analysis_lib.reports.page_list import planned_pages
from analysis_lib.reports.places import notebooks_folder
from analysis_lib.reports.runner import make_report
from analysis_lib.reports.ways_of_work import WayOfWork
from analysis_lib.study.folder import open_study
from analysis_lib.study.synthetic import small_study


def main(riders: int = 24, jobs: int = 2) -> None:
    """Print seconds and ratios."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        study = root / "study"
        small_study(study, riders=riders, duration_s=8.0)
        plain = _plain_papermill(study, root / "plain")
        print(f"plain papermill, {riders} riders: {plain:.1f} s")
        for name, way in (("default", WayOfWork(jobs)), ("preloaded", WayOfWork(jobs, preload=True))):
            took, _ = _report(study, root / name, way)
            print(f"{name}, {jobs} jobs: {took:.1f} s, {plain / took:.2f} times faster")
        took, made = _report(study, root / "default", WayOfWork(jobs))
        print(f"nothing changed: {took:.2f} s, made anew: {made or 'nothing'}")
        trials = study / "trials.csv"
        trials.write_text(trials.read_text().replace("R01-P1-easy,R01", "R01-P1-easy-again,R01", 1))
        took, made = _report(study, root / "default", WayOfWork(jobs))
        print(f"one rider changed: {took:.1f} s, made anew: {', '.join(made)}")
        for who, name in ((resource.RUSAGE_SELF, "the run"), (resource.RUSAGE_CHILDREN, "a kernel")):
            print(f"most memory of {name}: {resource.getrusage(who).ru_maxrss / 1024:.0f} MB")


def _plain_papermill(study: Path, out: Path) -> float:
    import papermill

    out.mkdir()
    began = time.monotonic()
    with RunFolder(study, out) as folder:
        here = Path.cwd()
        os.chdir(folder.path)
        for plan in planned_pages(open_study(study)):
            executed = out / Path(plan.notebook).name
            papermill.execute_notebook(
                str(notebooks_folder() / plan.template),
                str(executed),
                parameters=plan.parameters,
                kernel_name="python3",
                progress_bar=False,
            )
        os.chdir(here)
    return time.monotonic() - began


def _report(study: Path, out: Path, way: WayOfWork) -> tuple[float, list[str]]:
    began = time.monotonic()
    report = make_report(study, out, say=lambda line: None, way=way)
    return time.monotonic() - began, [page.name for page in report.pages if not page.unchanged]


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
