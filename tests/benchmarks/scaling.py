"""How time and memory grow with riders, trials and samples, and what the shared storage must hold.

    python tests/benchmarks/scaling.py riders 12 100 300 1000
    python tests/benchmarks/scaling.py trials 1 2 3
    python tests/benchmarks/scaling.py seconds 8 60 300

Every line is one command in a process of its own: its seconds on the clock, its processor seconds with those of its
kernels, and the most memory of one process, be it a kernel. Recordings are simulated, at 100 samples a second, twelve of
eight seconds a rider unless said otherwise.

With `riders`, every recording is simulated and `check` reads them all; only R01's page is made from its recordings. The
other riders' tables are R01's with other numbers, written by the same writer, and their pages, figures and notebooks are
links to R01's files; so the study's page, the page on the data, the first page, keys, run record and crate are the
program's own work on all riders, and so is every checksum of an unchanged run. The last line verifies a report of R01's
page alone against the whole study.

A thousand riders take an hour or two and, with the folder named in TMPDIR, two gigabytes.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pandas as pd

from analysis_lib.reports.files.page_keys import StudyInputs, page_key
from analysis_lib.reports.files.page_records import PageKeys
from analysis_lib.reports.record.page_origin import page_origin
from analysis_lib.reports.rider.rider_tables import TABLES, RiderTables, read_rider_table
from analysis_lib.reports.study.page_list import PlannedPage, planned_pages
from analysis_lib.reports.trials.rider_trials import labelled_trials
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.synthetic.synthetic import DEMO_INTENSITIES, small_study

MODEL = "R01"
PROGRAM = ("-m", "analysis_lib")
OPEN = ("-c", "import sys; from analysis_lib.study.checks.folder import open_study; open_study(sys.argv[1])")
RECORDS = ("study.html", "study.pdf", "data_quality.html", "index.html", "run.json", "ro-crate-metadata.json")


def main(what: str = "riders", *sizes: str) -> None:
    """Print one block for each size."""
    for size in sizes or ("12",):
        with tempfile.TemporaryDirectory() as place:
            print(f"{what}: {size}")
            {"riders": _riders, "trials": _trials, "seconds": _seconds}[what](Path(place), int(size))


def _riders(root: Path, riders: int) -> None:
    study, report, alone = root / "study", root / "report", root / "alone"
    small_study(study, riders=riders, duration_s=8.0)
    _measure("open the study, with the loading of the library", study, program=OPEN)
    _measure("check", "check", study)
    _measure("a rider's page", "report", study, "--out", report, "--rider", MODEL)
    print(f"  storage of one rider's page: {_megabytes(report):.1f} MB in {_files(report)} files")
    shutil.copytree(report, alone)
    _write_others(open_study(study), report)
    _pages_about_all(study, report)
    _measure("nothing changed", "report", study, "--out", report)
    _measure("verify, without the study", "verify", report)
    _measure("verify one rider's page with the study", "verify", alone, "--study", study)
    for name in RECORDS:
        if (report / name).is_file():
            print(f"  {name}: {(report / name).stat().st_size / 1e6:.2f} MB")
    files = _files(report)
    print(f"  storage: study {_megabytes(study):.0f} MB, report {_megabytes(report):.0f} MB in {files} files")
    print(
        f"  of it tables {_megabytes(report / 'tables' / 'riders'):.0f} MB, keys {_megabytes(report / 'keys'):.0f} MB"
    )


def _pages_about_all(study: Path, report: Path) -> None:
    """Measure the two pages together and that on the data by itself; each line has the run's own work in it."""
    words = ("report", study, "--out", report, "--jobs", 1)
    _measure("the study's page and the page on the data", *words)
    (report / "data_quality.html").unlink()
    _measure("the page on the data", *words)


def _trials(root: Path, intensities: int) -> None:
    study = root / "study"
    small_study(study, riders=1, duration_s=8.0, intensities=DEMO_INTENSITIES[:intensities])
    _page_of(study, root / "report")


def _seconds(root: Path, seconds: int) -> None:
    study = root / "study"
    small_study(study, riders=1, duration_s=float(seconds))
    _page_of(study, root / "report")


def _page_of(study: Path, report: Path) -> None:
    trials, samples = len(open_study(study).trials), _megabytes(study / "recordings")
    print(f"  {trials} trials of {samples:.1f} MB together")
    _measure("check", "check", study)
    _measure("a rider's page", "report", study, "--out", report, "--rider", MODEL)
    print(f"  tables: {_megabytes(report / 'tables'):.1f} MB, all: {_megabytes(report):.1f} MB")


def _measure(what: str, *words: object, program: Sequence[str] = PROGRAM) -> None:
    """Run one command and print what it took; the memory is that of its largest process, be it a kernel or its own."""
    began = time.monotonic()
    command = [sys.executable, *program, *map(str, words)]
    quiet = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
    process = os.posix_spawn(sys.executable, command, os.environ, file_actions=quiet)
    _, state, used = os.wait4(process, 0)
    worked = used.ru_utime + used.ru_stime
    print(
        f"  {what}: {time.monotonic() - began:.1f} s, processor {worked:.1f} s, most memory"
        f" {used.ru_maxrss / 1024:.0f} MB, exit {os.waitstatus_to_exitcode(state)}",
        flush=True,
    )


def _write_others(study: Study, report: Path) -> None:
    """Leave for every other rider what a page leaves, made up from the model's."""
    keys, inputs = PageKeys(report), StudyInputs(study)
    model = RiderTables(**{name: read_rider_table(str(report), MODEL, name) for name in TABLES})
    pages = {plan.rider: plan for plan in planned_pages(study) if plan.rider}
    for number, (rider, plan) in enumerate(pages.items()):
        if rider != MODEL:
            for one, other in zip(pages[MODEL].roots, plan.roots, strict=True):
                _link(report / one, report / other)
            _made_up(study, model, rider, number).write(str(report), rider)
            key = page_key(study, plan.template, plan.parameters, inputs.of_rider(rider))
            keys.keep(rider, key, _as_made(plan), plan.roots, page_origin(study, plan, report))


def _as_made(plan: PlannedPage) -> dict[str, str]:
    names = ("subject", "name", "page", "notebook")
    return {name: getattr(plan, name) for name in names} | {"cause": ""}


def _link(one: Path, other: Path) -> None:
    """Give a file or folder a second name; whatever writes anew there replaces the link and leaves the model alone."""
    if one.is_dir():
        shutil.copytree(one, other, copy_function=os.link)
    elif one.is_file():
        os.link(one, other)


def _made_up(study: Study, model: RiderTables, rider: str, number: int) -> RiderTables:
    """The model's tables under another rider's name, sequence and trials, each number a few per cent otherwise."""
    draw = np.random.default_rng([20, number])
    mine = _in_order(labelled_trials(study, rider))
    renamed = dict(zip(_in_order(model.trials)["trial"], mine["trial"], strict=True))
    listed = mine.set_index("trial")
    moved = {}
    for field in fields(model):
        frame = getattr(model, field.name).assign(rider=rider)
        if "trial" in frame:
            frame["trial"] = frame["trial"].map(renamed)
            for name in {"period", "sequence"} & set(frame):
                frame[name] = frame["trial"].map(listed[name])
        moved[field.name] = frame
    values = moved["quantities"]["value"] * draw.normal(1.0, 0.02, len(moved["quantities"]))
    torques = {
        name: column * draw.normal(1.0, 0.05)
        for name, column in moved["profiles"].items()
        if "Nm" in str(name)
    }
    phases = (moved["phases"]["torque_phase_deg"] + draw.normal(0.0, 6.0)) % 180
    return replace(
        RiderTables(**moved),
        quantities=moved["quantities"].assign(value=values),
        profiles=moved["profiles"].assign(**torques),
        phases=moved["phases"].assign(torque_phase_deg=phases),
    )


def _in_order(trials: pd.DataFrame) -> pd.DataFrame:
    """Trials in an order that riders of all sequences share: each ring's first rides, then its later ones."""
    return trials.sort_values(["ring", "intensity", "period"], kind="stable")


def _megabytes(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


def _files(folder: Path) -> int:
    return sum(path.is_file() for path in folder.rglob("*"))


if __name__ == "__main__":
    main(*sys.argv[1:])
