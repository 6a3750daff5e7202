"""The estimates of a study of several rings as one file that another program can read."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.rings_analysis import RingsAnalysis
from analysis_lib.reports.study_results import describe_outcome, plain_value, write_json_results
from analysis_lib.study.protocol import Outcome


def write_results(analysis: RingsAnalysis, results_dir: str) -> None:
    """Write ``results.json``: every declared outcome with each ring's estimates, or why there are none."""
    if results_dir:
        outcomes = [_outcome(analysis, outcome) for outcome in analysis.outcomes]
        write_json_results(analysis, outcomes, results_dir)


def _outcome(analysis: RingsAnalysis, outcome: Outcome) -> dict:
    entry = describe_outcome(outcome)
    try:
        effect = analysis.rings_effect(outcome)
    except Refusal as refusal:
        return {**entry, "estimates": [], "why_none": str(refusal)}
    rows = effect.to_frame().merge(effect.verdicts(outcome.smallest_effect)).to_dict("records")
    omnibus = [
        {
            "intensity": str(name),
            "F": test.f,
            "df_rings": test.df_between,
            "df_residual": test.df_within,
            "p": test.p,
        }
        for name, test in effect.omnibus().items()
    ]
    return {
        **entry,
        "method": effect.method,
        "reference": effect.reference,
        "omnibus": [_plain(row) for row in omnibus],
        "estimates": [_plain(row) for row in rows],
    }


def _plain(row: dict) -> dict:
    return {str(name): plain_value(value) for name, value in row.items()}
