"""A rider's trials whose torque has a doubtful scale, by what the gases and the power asked for tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from analysis_lib.reports.files.once import once
from analysis_lib.reports.trials.derived_rows import power_of
from analysis_lib.reports.trials.rider_trials import NOT_USED, under_caution
from analysis_lib.reports.trials.trials_at_hand import TrialsAtHand
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.doubts.scale_check import ScaleCheck
from analysis_lib.study.doubts.torque_scale import cautions_of, check_scales, recorders_in_doubt


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


@once
def scale_checks(analysis: TrialsAtHand) -> list[ScaleCheck]:
    """Judge the recorders by all used trials of the page: one rider's, or the study's."""
    rows = analysis.quantities[analysis.quantities["quantity"] == "power_W"]
    powers = dict(zip(rows["trial"].astype(str), rows["value"].astype(float), strict=True))
    return check_scales(analysis.study.settings, analysis.study.trials, powers)


def doubt_recorders(
    checks: Sequence[ScaleCheck], trials: pd.DataFrame, recorder_of: Mapping[str, str]
) -> pd.DataFrame:
    """Return all riders' trials, every used one of a recorder whose scale is in doubt under caution.

    What one rider's trials tell of a recorder puts that rider's trials under caution; what all riders' tell, all of them.

    Parameters
    ----------
    checks : list of ScaleCheck
        Of all trials together.
    trials : DataFrame
        With ``trial, state, reason``.
    recorder_of : dict of trial to recorder
    """
    doubts = {part.recorder: part.doubt() for part in recorders_in_doubt(checks)}
    if not doubts:
        return trials
    told = []
    for trial, state, reason in zip(trials["trial"], trials["state"], trials["reason"], strict=True):
        recorder = recorder_of.get(str(trial), "")
        known = f"The torque scale of recorder {recorder} " in reason
        told.append("" if known or state == NOT_USED else doubts.get(recorder, ""))
    return under_caution(trials, told)
