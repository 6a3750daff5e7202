"""Outcomes of trials.csv with cells far from all others: what pages say of them."""

from __future__ import annotations

from analysis_lib.study.checks.alike import first_few
from analysis_lib.study.checks.far_values import far_cells
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import Outcome


def far_sentences(study: Study, outcome: Outcome | None = None) -> list[str]:
    """Name the trials whose value of an outcome, or of any, lies far from all others, and say that it counts."""
    trials = study.trials[study.trials["usable"]].reset_index(drop=True)
    found: dict[str, list[str]] = {}
    for cell in far_cells(study.settings, trials):
        if outcome is None or outcome.name == cell.outcome.name:
            found.setdefault(cell.outcome.label, []).append(str(trials["trial"].iloc[cell.place]))
    return [_sentence(label, named) for label, named in found.items()]


def _sentence(label: str, trials: list[str]) -> str:
    lies, it, counts = ("lies", "it", "counts") if len(trials) == 1 else ("lie", "they", "count")
    return (
        f"{label} of {first_few(trials)} {lies} far from all others at the same intensity, as a slip in trials.csv would:"
        f" {it} {counts} as written."
    )
