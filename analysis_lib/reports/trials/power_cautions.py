"""A rider's trials whose power, or whose number of turns, the same rider's other trials speak against."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis_lib.reports.trials.rider_trials import under_caution
from analysis_lib.reports.trials.scale_cautions import powers_of
from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.doubts.power_doubts import PowerDoubt, doubt_powers
from analysis_lib.study.doubts.rider_power import compare_powers

FEW = 0.5
"""Whole turns over the median of the rider's others at the same intensity below which a trial may break off; no source."""


def power_doubts(trials: pd.DataFrame, results: Mapping[str, TrialResult]) -> list[PowerDoubt]:
    """Return the gross errors in one rider's trials, rows of trials.csv, that their powers show."""
    if not results:
        return []
    return doubt_powers(str(trials["rider"].iloc[0]), compare_powers(trials, powers_of(results)))


def doubt_power(trials: pd.DataFrame, results: Mapping[str, TrialResult]) -> pd.DataFrame:
    """Return one rider's trials, those under caution that are unlike the rider's others in power or in turns.

    Parameters
    ----------
    trials : DataFrame
        Rows of trials.csv with ``state, reason``.
    results : dict of trial to TrialResult
        Trials without a result stay as they are.
    """
    said = {trial: doubt.said for doubt in power_doubts(trials, results) for trial in doubt.trials}
    few = few_turns(
        trials,
        {
            trial: int(result.quality["kept_turns"]) + int(result.quality["dropped_turns"])
            for trial, result in results.items()
        },
    )
    told = (" ".join(filter(None, (few.get(name, ""), said.get(name, "")))) for name in trials["trial"])
    return under_caution(trials, told)


def few_turns(trials: pd.DataFrame, turns: Mapping[str, int]) -> dict[str, str]:
    """Say of each trial that has less than half of the turns of the same rider's others at the same intensity.

    Recordings at one intensity last alike, by the protocol; those at different ones need not.
    """
    told = {}
    known = trials[trials["trial"].isin(list(turns))]
    for _, here in known.groupby("intensity", sort=False):
        names = [str(name) for name in here["trial"]]
        for name in names:
            others = [turns[other] for other in names if other != name]
            usual = float(np.median(others)) if others else 0.0
            if turns[name] < FEW * usual:
                told[name] = (
                    f"It has {show_count(turns[name], 'whole turn')}, where the rider's other trials at this intensity have"
                    f" {usual:g} (median, n = {show_count(len(others), 'trial')}): did the recording break off? It is used"
                    " unless exclude_below_turns in [rules] of study.toml sets a bound above that."
                )
    return told
