"""The measuring floor: the part of an effect's standard error that the measurement alone accounts for."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.reports.files.packed_rows import in_words
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.corrections.zero_lookup import NONE, places_around

COMMON = ("calibration slope", "zero of the crank angle", "delay of torque")
"""Inputs that one recorder has in common on both rings: they do not tell the rings apart."""

OF_ZEROS = ("zero torque between checks", "zero torque, fit of all checks")
"""Inputs that trials between the same two zero checks have in common."""

OF_WARMTH = "slope's change with temperature"
"""The input that trials of one rider and period have in common: ridden on one day, about equally warm."""

COLUMNS = ["intensity", "floor", "riders"]

RIDERS_AT_ONCE = 100
"""Riders whose budgets' words are in memory together."""


def measuring_floor(budgets: pd.DataFrame, contrasts: pd.DataFrame) -> pd.DataFrame:
    """Return the part of an effect's standard error that the measurement alone accounts for, by intensity and overall.

    A rider's contrast is the mean of the oval trials minus that of the round ones, so with k trials on a ring
    each adds u²/k². Overall is the mean over K intensities: each trial then counts by 1/(kK), and what a period's trials
    have in common – the zero between the same two checks, the day's warmth – is added before it is squared, so that it
    does not average out over intensities; turn-to-turn variation and sampling are each trial's own and do. Over riders,
    who share nothing here, the floor is √(Σ w² of each), w being the rider's weight in the estimate: 1/(sequences × riders
    of the sequence), or 1/n where contrasts name no sequence. A rider without a budget counts as uncertain as the others.

    Inputs common to both rings are left out. Temperature is not: rings are ridden on different days, and in an order
    drawn by lot their difference in warmth takes either sign.

    Parameters
    ----------
    budgets : DataFrame
        Of all riders, for one quantity: ``trial, rider, ring, intensity, period, zeroed, input, contribution``; see
        `budgets.budget_rows` and `zeroed_between`. Words may be categories.
    contrasts : DataFrame
        ``rider, intensity`` of the riders in the estimate, "overall" among the intensities, and their ``sequence``.

    Returns
    -------
    DataFrame
        ``intensity, floor, riders``: how many of them have budgets.

    Examples
    --------
    Two riders, one trial of 1 W a ring each: a contrast of √2 W each, and √(2 + 2)/2 = 1 W for their mean.
    """
    own = budgets[~budgets["input"].isin(COMMON)]
    contrasts = contrasts.astype({"intensity": str})
    levels = [name for name in contrasts["intensity"].unique() if name != OVERALL]
    rows = []
    for intensity, here in contrasts.groupby("intensity", sort=False):
        within = levels if intensity == OVERALL else [intensity]
        variance = here["rider"].map(_variances(own[own["intensity"].isin(within)], len(within)))
        known, weights = variance.notna(), _weights(here) ** 2
        if known.any():
            mean = float((weights * variance)[known].sum() / weights[known].sum())
            rows.append((intensity, math.sqrt(mean * float(weights.sum())), int(known.sum())))
    return pd.DataFrame(rows, columns=COLUMNS)


def _variances(rows: pd.DataFrame, levels: int) -> pd.Series:
    """Variance of each rider's mean contrast over intensities, of some riders at a time, whose words are then words."""
    batch = pd.factorize(rows["rider"])[0] // RIDERS_AT_ONCE
    found = [_variances_of(in_words(some), levels) for _, some in rows.groupby(batch)]
    return pd.concat(found) if found else pd.Series(dtype=float)


def _variances_of(rows: pd.DataFrame, levels: int) -> pd.Series:
    """Variances of riders with budgets on both rings at all intensities."""
    cells = rows.groupby(["rider", "intensity", "ring"])["trial"].nunique()
    trials = rows.groupby(["rider", "intensity", "ring"])["trial"].transform("nunique")
    # With a mark before each, no trial is taken for a period.
    shared = "trial " + rows["trial"].astype(str)
    shared = shared.mask(rows["input"].isin(OF_ZEROS), "zeros " + rows["zeroed"].astype(str))
    shared = shared.mask(rows["input"] == OF_WARMTH, "period " + rows["period"].astype(str))
    parts = (rows["contribution"].abs() / (trials * levels)).groupby(
        [rows["rider"], rows["ring"], rows["input"], shared]
    )
    variances = (parts.sum() ** 2).groupby("rider").sum()
    return variances[cells.groupby("rider").size() == 2 * levels]


def _weights(contrasts: pd.DataFrame) -> pd.Series:
    """Weight of each rider in the estimate: the mean over sequences of their means."""
    if "sequence" not in contrasts:
        return pd.Series(1 / len(contrasts), contrasts.index)
    sizes = contrasts.groupby("sequence")["rider"].transform("size")
    return 1 / (sizes * contrasts["sequence"].nunique())


def zeroed_between(study: Study) -> dict[str, str]:
    """Say of every usable trial between which zero checks it lies; without any, which rider's period it belongs to."""
    trials = study.trials[study.trials["usable"].astype(bool)]
    before, after = places_around(study.settings, study.zero_checks, trials)
    rows = zip(trials["trial"], trials["rider"], trials["period"], before, after, strict=True)
    return {
        str(trial): f"{rider}, period {period}" if b == a == NONE else f"{b} to {a}"
        for trial, rider, period, b, a in rows
    }
