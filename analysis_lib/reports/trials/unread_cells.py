"""Outcomes of trials.csv whose cells are at fault: what pages say that this takes away."""

from __future__ import annotations

from analysis_lib.study.checks.alike import first_few
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.derived_outcomes import GAS_COLUMNS


def unread_sentences(study: Study, rider: str = "", outcome: Outcome | None = None) -> list[str]:
    """Say of each column of outcomes in which trials its cell is at fault, and what they lack for it; else nothing.

    Parameters
    ----------
    study : Study
    rider : str
        Whose trials to speak of; empty for all riders.
    outcome : Outcome, optional
        Only what takes values of this one away.
    """
    counted = study.trials[~study.trials["exclude"]]
    listed = set(counted["trial"] if not rider else counted.loc[counted["rider"] == rider, "trial"])
    found: dict[str, list[str]] = {}
    for problem in study.errors:
        if problem.scope == "cell" and problem.trial in listed:
            found.setdefault(problem.column, []).append(problem.trial)
    lost = {column: outcomes_from(study.settings, column) for column in found}
    return [
        _sentence(column, trials, lost[column])
        for column, trials in found.items()
        if outcome is None or outcome in lost[column]
    ]


def outcomes_from(settings: StudySettings, column: str) -> list[Outcome]:
    """Return the declared outcomes that are made of a column of trials.csv."""
    return [
        part
        for part in settings.outcomes
        if (part.source == "trials" and part.name == column)
        or (part.source == "derived" and column in GAS_COLUMNS)
    ]


def _sentence(column: str, trials: list[str], lost: list[Outcome]) -> str:
    labels = " and ".join(outcome.label for outcome in lost)
    this, counts, cell = (
        ("this trial", "counts", "cell") if len(trials) == 1 else ("these trials", "count", "cells")
    )
    return (
        f"trials.csv is at fault in {column} of {first_few(trials)}: without that, {this} {counts} as if without {labels},"
        f" and with all other values. Correct the {cell}, or empty {'it' if len(trials) == 1 else 'them'}"
        " if nothing was measured."
    )
