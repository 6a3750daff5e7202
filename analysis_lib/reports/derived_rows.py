"""A rider's derived outcomes, as rows beside the measured and the declared ones."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.derived_outcomes import derive
from analysis_lib.study.settings import StudySettings


def derived_rows(
    settings: StudySettings, trials: pd.DataFrame, results: dict[str, TrialResult], labels: list[str]
) -> pd.DataFrame:
    """Return one row a trial and derived outcome of study.toml, for the trials that are not excluded.

    Columns `labels`, quantity, value, unit and note. A trial whose gases or power were refused keeps its row, with
    a value of NaN and the reason as its note; the analyses count it as a missing value.
    """
    rules = settings.metabolism
    outcomes = [part for part in settings.outcomes if part.source == "derived"]
    if rules is None or not outcomes:
        return pd.DataFrame()
    listed = trials[~trials["exclude"]]
    frames = []
    for outcome in outcomes:
        made = [
            derive(outcome.name, row, *_power_of(results.get(str(row.trial))), rules)
            for row in listed.itertuples()
        ]
        values, notes = [found.value for found in made], [found.note for found in made]
        frames.append(
            listed[labels].assign(quantity=outcome.name, value=values, unit=outcome.unit, note=notes)
        )
    return pd.concat(frames)


def _power_of(result: TrialResult | None) -> tuple[float, str]:
    """Return a trial's power with the note that stands beside it; NaN where there is none."""
    if result is None:
        return math.nan, ""
    try:
        value = result.value("power_W")
    except Refusal:
        return math.nan, ""
    row = result.summary.set_index("quantity").loc["power_W"]
    return value, str(row["note"] or "")
