"""The estimates of a study of one rider as one file that another program can read."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.single_rider_exhibits import effects_frame
from analysis_lib.reports.study_results import describe_outcome, plain_value, write_json_results
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.protocol import Outcome


def write_results(analysis: SingleRiderAnalysis, results_dir: str) -> None:
    """Write ``results.json``: every declared outcome with its estimates, or why there are none."""
    if results_dir:
        outcomes = [_outcome(analysis, outcome) for outcome in analysis.outcomes]
        write_json_results(analysis, outcomes, results_dir)


def _outcome(analysis: SingleRiderAnalysis, outcome: Outcome) -> dict:
    entry = describe_outcome(outcome)
    try:
        method = analysis.effects(outcome)[OVERALL].test.method
        rows = effects_frame(analysis, outcome).to_dict("records")
    except Refusal as refusal:
        return {**entry, "estimates": [], "why_none": str(refusal)}
    plain = [{str(name): plain_value(value) for name, value in row.items()} for row in rows]
    return {**entry, "method": method, "estimates": plain}
