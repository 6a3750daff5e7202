"""The estimates of a study of several rings as one file that another program can read."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.reports.several_rings import rings_words
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.several_rings.rings_intensity import tests_frame
from analysis_lib.reports.study.study_results import plain_row, write_json_results
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.study.declared.protocol import Outcome


def write_results(analysis: RingsAnalysis, results_dir: str) -> None:
    """Write ``results.json``: the answer, and every declared outcome with each ring's estimates, or why there are none."""
    write_json_results(
        analysis, results_dir, rings_words.answer(analysis), lambda outcome: _estimates(analysis, outcome)
    )


def _estimates(analysis: RingsAnalysis, outcome: Outcome) -> dict:
    effect = analysis.rings_effect(outcome)
    frame = effect.to_frame().merge(effect.verdicts(outcome.smallest_effect))
    frame = frame.merge(effect.holm()[["intensity", "ring", "p_holm"]], how="left", on=["intensity", "ring"])
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
        "method": effect.method,
        "reference": effect.reference,
        "omnibus": [plain_row(row) for row in omnibus],
        "estimates": [plain_row(row) for row in frame.to_dict("records")],
        "tests": _tests(effect),
        "relabelling": _relabelled(analysis, outcome),
        "riders": [plain_row(row) for row in effect.riders().to_dict("records")],
    }


def _relabelled(analysis: RingsAnalysis, outcome: Outcome) -> list[dict]:
    """p of the sequences dealt otherwise, that no ring differs; or why there is none."""
    try:
        tests = analysis.relabelled(outcome)
    except Refusal as refusal:
        return [{"why_none": str(refusal)}]
    return [
        plain_row({"intensity": str(name), "p": test.p, "smallest_p": test.smallest_p, "n": test.n})
        for name, test in tests.items()
    ]


def _tests(effect: RingsEffect) -> list[dict]:
    """The change of each ring with intensity and the tests of ring × intensity; none with one intensity."""
    try:
        return [plain_row(row) for row in tests_frame(effect).to_dict("records")]
    except Refusal as refusal:
        return [{"why_none": str(refusal)}]
