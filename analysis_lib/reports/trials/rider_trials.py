"""A rider's listed trials: each with its result, or with the reason why it has none."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.trial_rules import broken_rule

USED, CAUTION, NOT_USED = "used", "caution", "not used"
BEFOREHAND, BY_RULE = "excluded: ", "excluded by rule: "
"""How the reason of a trial begins that trials.csv, or a rule of study.toml, leaves out."""


def labelled_trials(study: Study, rider: str) -> pd.DataFrame:
    """Return the rider's rows of trials.csv with ``sequence``, what tables call the ring as ``ring``, and ``ring_name``.

    The ring is called by its role, round or oval; where a study has several oval rings, these by their names.
    """
    trials = study.trials_of(rider).drop(columns="row")
    sequence = str(study.riders.set_index("rider").loc[rider, "sequence"])
    labels = {name: study.settings.ring_label(name) for name in study.settings.rings}
    return trials.assign(
        sequence=sequence,
        intensity=trials["intensity"].astype(str),
        ring_name=trials["ring"],
        ring=trials["ring"].map(labels),
    )


def reasons_of_excluded(trials: pd.DataFrame) -> tuple[str, ...]:
    """Say of each trial that trials.csv excludes why it does.

    Parameters
    ----------
    trials : DataFrame
        With ``trial, exclude_reason``.
    """
    pairs = zip(trials["trial"], trials["exclude_reason"], strict=True)
    return tuple(f"{trial}: {BEFOREHAND}{reason}" for trial, reason in pairs)


def analyse_listed_trial(
    study: Study, row, load_trial: Callable[[str], TrialResult]
) -> tuple[TrialResult | None, str, str]:
    """Return one row's result where it has one, its state and the reason of that state."""
    if row.exclude:
        return None, NOT_USED, BEFOREHAND + row.exclude_reason
    if not row.usable:
        return (
            None,
            NOT_USED,
            "; ".join(str(problem) for problem in study.errors if problem.trial == row.trial),
        )
    try:
        result = load_trial(row.trial)
    except Refusal as refusal:
        return None, NOT_USED, str(refusal)
    if rule := broken_rule(result.quality, study.settings.rules):
        return None, NOT_USED, BY_RULE + rule
    return result, CAUTION if result.cautions else USED, " ".join(result.cautions)


def under_caution(trials: pd.DataFrame, words: Iterable[str]) -> pd.DataFrame:
    """Return trials with ``state, reason``, those under caution for which there are words: what speaks against them."""
    told = pd.Series(list(words), trials.index, dtype=object)
    if not told.any():
        return trials
    doubtful = told != ""
    return trials.assign(
        state=trials["state"].mask(doubtful, CAUTION),
        reason=trials["reason"].mask(doubtful, (trials["reason"] + " " + told).str.strip()),
    )


def with_quality(trials: pd.DataFrame, results: dict[str, TrialResult]) -> pd.DataFrame:
    """Return the trials with the data-quality columns of those that gave results."""
    if not results:
        return trials
    quality = pd.DataFrame([{"trial": trial, **result.quality} for trial, result in results.items()])
    return trials.merge(quality, how="left", on="trial", suffixes=("_listed", ""))
