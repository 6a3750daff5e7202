"""A rider's trials whose torque has a doubtful scale, by what the gases and the power asked for tell."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis_lib.reports.trials.derived_rows import power_of
from analysis_lib.reports.trials.rider_trials import under_caution
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.doubts.torque_scale import cautions_of, check_scales


def powers_of(results: Mapping[str, TrialResult]) -> dict[str, float]:
    """Return the recorded power of each trial, W; NaN where a recording tells none."""
    return {trial: power_of(result)[0] for trial, result in results.items()}


def doubt_scales(
    settings: StudySettings, trials: pd.DataFrame, results: Mapping[str, TrialResult]
) -> pd.DataFrame:
    """Return one rider's trials, those under caution whose recorder, or whose own gases, speak against their torque.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        Rows of trials.csv with ``state, reason``.
    results : dict of trial to TrialResult
        Trials without a result stay as they are.
    """
    checks = check_scales(settings, trials, powers_of(results))
    told = [
        " ".join(cautions_of(checks, str(row.recorder), str(row.trial))) if row.trial in results else ""
        for row in trials.itertuples()
    ]
    return under_caution(trials, told)
