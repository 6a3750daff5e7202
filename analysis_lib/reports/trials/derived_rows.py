"""A rider's derived outcomes, as rows beside the measured and the declared ones."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.declared.protocol import Metabolism, Outcome
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.derived_outcomes import ACROSS, derive, derive_delta, is_across


def derived_rows(
    settings: StudySettings, trials: pd.DataFrame, results: dict[str, TrialResult], labels: list[str]
) -> pd.DataFrame:
    """Return one row a trial and derived outcome of study.toml, for trials at its intensities that are not excluded.

    Columns `labels`, quantity, value, unit and note. A trial whose gases or power were refused keeps its row, with
    a value of NaN and the reason as its note; the analyses count it as a missing value. An outcome made of several
    intensities has one row a period instead, under the name of the period.
    """
    rules = settings.metabolism
    outcomes = [part for part in settings.outcomes if part.source == "derived"]
    if rules is None or not outcomes:
        return pd.DataFrame()
    listed = trials[~trials["exclude"]]
    frames = []
    for outcome in outcomes:
        here = listed[listed["intensity"].isin(settings.intensities_of(outcome))]
        if is_across(outcome):
            rows = _rows_of_periods(here, results, rules, labels)
        else:
            rows = _rows_of_trials(outcome, here, results, rules, labels)
        frames.append(rows.assign(quantity=outcome.name, unit=outcome.unit))
    return pd.concat(frames)


def _rows_of_trials(
    outcome: Outcome,
    trials: pd.DataFrame,
    results: dict[str, TrialResult],
    rules: Metabolism,
    labels: list[str],
) -> pd.DataFrame:
    made = [
        derive(outcome.name, row, *power_of(results.get(str(row.trial))), rules)
        for row in trials.itertuples()
    ]
    return trials[labels].assign(value=[found.value for found in made], note=[found.note for found in made])


def _rows_of_periods(
    trials: pd.DataFrame, results: dict[str, TrialResult], rules: Metabolism, labels: list[str]
) -> pd.DataFrame:
    rows = []
    for period, ridden in trials.groupby("period", sort=False):
        powers = [power_of(results.get(str(trial)))[0] for trial in ridden["trial"]]
        made = derive_delta(list(ridden.itertuples()), powers, rules)
        first = ridden.iloc[0]
        name = f"{first['rider']}, period {period}"
        rows.append(
            {**first[labels], "trial": name, "intensity": ACROSS, "value": made.value, "note": made.note}
        )
    return pd.DataFrame(rows, columns=[*labels, "value", "note"])


def power_of(result: TrialResult | None) -> tuple[float, str]:
    """Return a trial's power with the note that stands beside it; NaN where there is none."""
    if result is None:
        return math.nan, ""
    try:
        return result.value("power_W"), result.note("power_W")
    except Refusal:
        return math.nan, ""
