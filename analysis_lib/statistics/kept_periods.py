"""How much of the period effects does an estimate keep, where missing periods stop them from cancelling?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.statistics.contrasts import period_weights
from analysis_lib.statistics.estimates import decimals_for, show_number
from analysis_lib.statistics.trial_table import OVERALL, without_levels

NONE, DETERMINED = 1e-9, 1e-6
"""Rounding errors of a weight, and of the projection on what trials determine."""


@dataclass(frozen=True)
class KeptPeriods:
    """What stays of the period effects in the estimate at one intensity.

    Attributes
    ----------
    intensity : object
        Or "overall".
    share : float
        The largest part of any one period's effect that stays.
    amount : float
        Sum of each period's part times its estimated effect, in the outcome's unit; NaN where the periods cannot be
        told from the rings.
    unit : str
    decimals : int
        Digits that the estimate's own standard error deserves.
    """

    intensity: object
    share: float
    amount: float
    unit: str
    decimals: int

    def sentence(self) -> str:
        """What stays, in the outcome's unit beside the share."""
        unit = f" {self.unit}" if self.unit else ""
        size = (
            "an unknown amount of the period effects, since periods cannot be told from rings"
            if math.isnan(self.amount)
            else f"{show_number(self.amount, self.decimals, signed=True)}{unit} of the period effects estimated here"
        )
        return (
            f"the estimate keeps {size} (up to {self.share:.2g} of any one of them), because of missing periods or"
            " sequences that do not mirror one another; compare with the mixed model."
        )


@dataclass(frozen=True)
class PeriodFit:
    """A least-squares fit of periods and ring, freed of riders' levels: columns, a solution, the projection on what is
    determined."""

    columns: pd.Index
    coefficients: NDArray[np.float64]
    determined: NDArray[np.float64]


def kept_periods(
    trials: pd.DataFrame, contrasts: pd.DataFrame, errors: dict[object, float], unit: str
) -> Iterator[KeptPeriods]:
    """Go through the intensities and "overall", and give what stays where anything does.

    Parameters
    ----------
    trials : DataFrame
        As `trial_table.check_trials` returns it.
    contrasts : DataFrame
        As `contrasts.rider_contrasts` returns it: who is in each estimate.
    errors : dict
        Standard error of each estimate, for the digits.
    unit : str

    Examples
    --------
    One rider of round-oval-oval-round who misses period 2, and a complete one of the mirrored sequence. The first
    contrast has +1 of period 3 instead of +1/2 each of periods 2 and 3, so the mean of the two keeps −1/4 of period 2
    and +1/4 of period 3. Where the outcome rises by 2 W from period 2 to 3 the estimate is 0.5 W too high.
    """
    effects: dict[object, PeriodFit] = {
        intensity: _fit_periods(here) for intensity, here in trials.groupby("intensity", observed=True)
    }
    for intensity, weights in period_weights(trials).iterrows():
        yield from _if_any(intensity, weights, _amount(weights, effects[intensity]), errors, unit)
    complete = contrasts.loc[contrasts["intensity"] == OVERALL, "rider"]
    each = period_weights(trials[trials["rider"].isin(complete)])
    if len(each) > 1:
        amounts = [_amount(weights, effects[intensity]) for intensity, weights in each.iterrows()]
        # Period effects may differ between intensities, so weights of opposite sign do not cancel.
        yield from _if_any(
            OVERALL, pd.Series(each.to_numpy().ravel()) / len(each), float(np.mean(amounts)), errors, unit
        )


def _if_any(
    intensity: object, weights: pd.Series, amount: float, errors: dict[object, float], unit: str
) -> Iterator[KeptPeriods]:
    share = float(weights.abs().max())
    if share > NONE:
        yield KeptPeriods(intensity, share, amount, unit, decimals_for(errors[intensity]))


def _amount(weights: pd.Series, fitted: PeriodFit) -> float:
    """Σ weight · period effect; NaN where that sum is no part of what the trials determine."""
    wanted = weights.reindex(fitted.columns, fill_value=0.0).to_numpy()
    if np.abs(wanted @ fitted.determined - wanted).max() > DETERMINED:
        return math.nan
    return float(wanted @ fitted.coefficients)


def _fit_periods(here: pd.DataFrame) -> PeriodFit:
    """Fit value = rider + period + ring by least squares, however much of it the trials determine."""
    seen = here.dropna(subset=["value"])
    oval = (seen["ring"] == "oval").astype(float).rename("oval")
    columns = pd.concat([pd.get_dummies(seen["period"], dtype=float), oval], axis=1)
    design = without_levels(columns, seen["rider"]).to_numpy()
    values = without_levels(seen[["value"]].astype(float), seen["rider"])["value"].to_numpy()
    inverse = np.linalg.pinv(design, rcond=1e-10)
    return PeriodFit(columns.columns, inverse @ values, inverse @ design)
