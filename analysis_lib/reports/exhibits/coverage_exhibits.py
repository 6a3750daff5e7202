"""What the analyses do in the long run, by simulation: shown, not run."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.places import PROJECT

COVERAGE = PROJECT / "data_synthetic" / "validation" / "coverage.csv"


def coverage_table() -> TableExhibit:
    """Show the committed table of error rates and coverage; refused where the project's data are not installed."""
    if not COVERAGE.is_file():
        raise Refusal(
            "simulated error rates",
            f"no {COVERAGE.name}",
            "the project's data_synthetic folder",
            "open this notebook in a copy of the whole project",
        )
    return TableExhibit(
        "coverage",
        pd.read_csv(COVERAGE),
        "Simulated studies without an effect: share in which the test rejects (type I error) and in which the interval"
        " holds the truth (coverage), beside what was promised. Warnings are analyses that this project does not make. The"
        " README of data_synthetic/validation says why some rates leave 93 to 97 %.",
        {
            "type_1_error": "type I error",
            "promised_error": "promised",
            "promised_coverage": "promised ",
            "simulation_se": "SE of simulation",
        },
        {"type_1_error": 3, "coverage": 3, "simulation_se": 3, "promised_error": 2, "promised_coverage": 2},
    )
