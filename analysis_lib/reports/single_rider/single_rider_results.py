"""The estimates of a study of one rider as one file that another program can read."""

from __future__ import annotations

from analysis_lib.reports.single_rider import single_rider_words
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.single_rider.single_rider_exhibits import effects_frame
from analysis_lib.reports.study.study_results import plain_row, write_json_results
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome


def write_results(analysis: SingleRiderAnalysis, results_dir: str) -> None:
    """Write ``results.json``: the answer, and every declared outcome with its estimates, or why there are none."""
    write_json_results(
        analysis,
        results_dir,
        single_rider_words.answer(analysis),
        lambda outcome: _estimates(analysis, outcome),
    )


def _estimates(analysis: SingleRiderAnalysis, outcome: Outcome) -> dict:
    method = analysis.effects(outcome)[OVERALL].test.method
    rows = effects_frame(analysis, outcome).to_dict("records")
    return {"method": method, "estimates": [plain_row(row) for row in rows]}
