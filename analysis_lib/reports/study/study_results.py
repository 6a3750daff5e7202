"""The study's estimates as one file that another program can read."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.numbers import FILE_DIGITS
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.reports.study import stated_tests, study_words
from analysis_lib.reports.study.floor_exhibits import effect_floor
from analysis_lib.reports.study.page_list import RESULTS
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.progress import progress_of


def write_results(analysis: StudyAnalysis, results_dir: str) -> None:
    """Write ``results.json``: the answer, and every declared outcome with its estimates, or why there are none."""
    write_json_results(
        analysis, results_dir, study_words.answer(analysis), lambda outcome: _estimates(analysis, outcome)
    )


def write_json_results(
    analysis: StudyAnalysis,
    results_dir: str,
    answer: Sequence[str],
    estimates_of: Callable[[Outcome], dict],
) -> None:
    """Write ``results.json`` with what `estimates_of` finds of each outcome; an empty `results_dir` writes nothing."""
    if not results_dir:
        return
    results = {
        "study": analysis.study.settings.study.name,
        "answer": list(answer),
        "riders_analysed": sorted(analysis.tables),
        "riders_left_out": dict(analysis.left_out),
        "interim": progress_of(analysis.study).is_interim,
        "outcomes": [_outcome(outcome, estimates_of) for outcome in analysis.outcomes],
    }
    text = json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False)
    write_text_whole(Path(results_dir) / RESULTS, text + "\n")


def _outcome(outcome: Outcome, estimates_of: Callable[[Outcome], dict]) -> dict:
    """What study.toml declares of an outcome, then its estimates, or why there are none."""
    declared = {
        "outcome": outcome.name,
        "label": outcome.label,
        "unit": outcome.unit,
        "primary": outcome.primary,
        "smallest_effect": outcome.smallest_effect,
    }
    try:
        return declared | estimates_of(outcome)
    except Refusal as refusal:
        return declared | {"estimates": [], "why_none": str(refusal)}


def _estimates(analysis: StudyAnalysis, outcome: Outcome) -> dict:
    effect = analysis.effect(outcome)
    verdicts = effect.verdicts(outcome.smallest_effect).set_index("intensity")["verdict"]
    floors = _floors(analysis, outcome)
    rows = [
        plain_row(row)
        | _ninety(effect.estimates[row["intensity"]])
        | {"verdict": verdicts[row["intensity"]]}
        | plain_row(floors.get(str(row["intensity"]), {}))
        for row in effect.to_frame().to_dict("records")
    ]
    return {
        "method": effect.method,
        "notes": list(effect.notes),
        "estimates": rows,
        "tests": _tests(analysis, outcome, effect),
    }


def _ninety(estimate: Estimate) -> dict[str, object]:
    """The 90 % interval, by which an effect is called equivalent."""
    bounds = estimate.interval(0.90)
    return plain_row({"low_90": bounds.low, "high_90": bounds.high})


def _floors(analysis: StudyAnalysis, outcome: Outcome) -> dict[str, dict]:
    """By intensity, the measuring floor and the verdict by it where it is larger than the standard error; {} without."""
    try:
        frame = effect_floor(analysis, outcome)
    except Refusal:
        return {}
    return {
        row["intensity"]: {"measuring_floor": row["floor"], "verdict_by_larger": row["verdict"]}
        for row in frame.to_dict("records")
    }


def _tests(analysis: StudyAnalysis, outcome: Outcome, effect: RingEffect) -> list[dict]:
    """The tests that the page states: equivalence, trend, ring × intensity, relabelling and carry-over."""
    tables = [
        lambda: stated_tests.tests_table(outcome, effect),
        lambda: stated_tests.relabelling_table(analysis, outcome),
        lambda: stated_tests.carry_over_table(analysis, outcome),
    ]
    rows: list[dict] = []
    for table in tables:
        try:
            rows += table().frame.to_dict("records")
        except Refusal as refusal:
            rows.append({"why_none": str(refusal)})
    return [plain_row(row) for row in rows]


def plain_row(row: Mapping) -> dict[str, object]:
    """Return a row as JSON values under their names."""
    return {str(name): _plain_value(value) for name, value in row.items()}


def _plain_value(value):
    """Return a JSON value: numbers with the declared digits, null for what is not known."""
    if isinstance(value, float):
        return float(f"{value:.{FILE_DIGITS}g}") if math.isfinite(value) else None
    return value if isinstance(value, int | str) else str(value)
