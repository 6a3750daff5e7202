"""Does the oval ring change the outcome when every trial counts, also those of riders who missed some?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate, check_level
from analysis_lib.statistics.mixed import MixedModel, fit_mixed_model
from analysis_lib.statistics.trial_table import OVERALL, check_trials, ring_order, tabulate_estimates

DfMethod = Literal["kenward-roger", "satterthwaite"]
CARRY_OVER = "carry-over"


@dataclass(frozen=True, eq=False)
class RingModel:
    """Oval − round at each intensity and overall from one mixed model of all trials.

    Parameters
    ----------
    value : str
        Name of the outcome column.
    level : float
        Confidence level of `to_frame`.
    estimates : dict
        Estimate by intensity, in their order, then "overall".
    model : MixedModel
        The fit behind them.
    notes : tuple of str
        What a reader must know: a variance at zero, period effects that could not be separated.
    """

    value: str
    level: float
    estimates: dict[object, Estimate]
    model: MixedModel
    notes: tuple[str, ...]

    @property
    def overall(self) -> Estimate:
        """The mean over intensities."""
        return self.estimates[OVERALL]

    @property
    def variance_components(self) -> dict[str, float]:
        """Variance by name, in the square of the outcome's unit."""
        return self.model.variance_components

    @property
    def method(self) -> str:
        """How it was made, in words."""
        return self.overall.method

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity and one "overall": intensity, estimate, se, df, t, p, low, high, n."""
        return tabulate_estimates(self.estimates, self.level)

    def sentence(self) -> str:
        """The overall estimate in one sentence."""
        return self.overall.sentence(self.level)


def ring_mixed_model(
    table: pd.DataFrame,
    value: str,
    level: float = 0.95,
    df_method: DfMethod = "kenward-roger",
    unit: str = "",
    random_terms: tuple[str, ...] | None = None,
    residual_by_intensity: bool = False,
) -> RingModel:
    """Estimate oval − round from all trials by a linear mixed model.

    value = intensity + ring at that intensity + period + rider + rider:ring (+ rider:period) + residual, the
    last three or four random, fitted by REML. "overall" is the plain mean of the effects at the intensities.
    Trials without a value are left out; riders who missed some keep the others.

    Parameters
    ----------
    table, value, level, unit
        As for `crossover.ring_effect`.
    df_method : {"kenward-roger", "satterthwaite"}
        How standard errors and degrees of freedom are made fit for few riders.
    random_terms : tuple of str, optional
        Some of "rider", "rider:ring", "rider:period", "rider:intensity", "rider:ring:intensity". Unless
        given: rider; rider:ring where a rider has several trials on a ring; rider:period where periods hold
        several trials and a ring several periods. Leaving out rider:ring while riders differ in their
        response multiplies false positives, and so does leaving out rider:ring:intensity at single
        intensities while the response changes with intensity by rider. Leaving out rider:intensity while
        strong riders raise their power more from one intensity to the next does not touch "overall" where no
        trial is missing, but puts that spread into the residual and makes the intervals at single intensities
        wider than the riders' own contrasts give them.
    residual_by_intensity : bool
        Whether each intensity has a residual variance of its own.

    Returns
    -------
    RingModel
        n counts the riders with a value at the intensity.

    Raises
    ------
    Refusal
        As `trial_table.check_trials` and `mixed.fit_mixed_model`; also an intensity without values on both
        rings, and an unknown random term.

    References
    ----------
    Kenward & Roger, Biometrics 1997;53:983. Jones & Kenward, Design and Analysis of Cross-Over Trials,
    3rd ed. 2014, sec. 5.
    """
    check_level(level)
    trials = check_trials(table, value)
    model, notes = fit_ring_model(
        trials, df_method, random_terms, residual_by_intensity=residual_by_intensity
    )
    seen = trials.dropna(subset=["value"])
    riders = seen.groupby("intensity", observed=False)["rider"].nunique()
    levels = list(trials["intensity"].cat.categories)
    wanted = {level: {_name_effect(level): 1.0} for level in levels}
    wanted[OVERALL] = {_name_effect(level): 1 / len(levels) for level in levels}
    estimates: dict[object, Estimate] = {}
    for intensity, weights in wanted.items():
        e = model.contrast(weights, f"{value}, oval − round, {intensity}", unit)
        n = seen["rider"].nunique() if intensity == OVERALL else int(riders[intensity])
        estimates[intensity] = Estimate(e.quantity, e.value, e.se, e.df, e.unit, n, e.method)
    return RingModel(value, level, estimates, model, notes)


def fit_ring_model(
    trials: pd.DataFrame,
    df_method: DfMethod = "kenward-roger",
    random_terms: tuple[str, ...] | None = None,
    carry_over: bool = False,
    residual_by_intensity: bool = False,
) -> tuple[MixedModel, tuple[str, ...]]:
    """Fit the mixed model of checked trials; with `carry_over` the ring of the period before is a term too.

    Returns the fit and notes. The term "carry-over" is +½ after an oval period, −½ after a round one and 0 in
    the first period, so that its coefficient is what an oval ring leaves behind less what a round one leaves.
    """
    ring_before = _ring_before(trials) if carry_over else None
    seen = trials[trials["value"].notna()]
    _check_both_rings(seen, trials["intensity"].cat.categories)
    fixed, notes = _fixed_columns(seen, None if ring_before is None else ring_before[trials["value"].notna()])
    groups = _random_labels(seen, random_terms)
    residual_groups = seen["intensity"].astype(str) if residual_by_intensity else None
    model = fit_mixed_model(seen["value"].to_numpy(), fixed, groups, df_method, residual_groups)
    return model, (*notes, *([model.note] if model.note else []))


def _check_both_rings(seen: pd.DataFrame, levels: pd.Index) -> None:
    rings = seen.groupby("intensity", observed=True)["ring"].nunique()
    for level in levels:
        if rings.get(level, 0) < 2:
            raise Refusal(
                f"intensity {level}", "no values on both rings", "values on both", "leave this intensity out"
            )


def _fixed_columns(seen: pd.DataFrame, carry_over: pd.Series | None) -> tuple[pd.DataFrame, tuple[str, ...]]:
    oval = (seen["ring"] == "oval").astype(float)
    columns = {}
    for level in pd.unique(seen["intensity"]):
        here = (seen["intensity"] == level).astype(float)
        columns[f"intensity {level}"] = here
        columns[_name_effect(level)] = here * oval
    bare = pd.DataFrame(columns)
    for period in sorted(pd.unique(seen["period"]))[1:]:
        columns[f"period {period}"] = (seen["period"] == period).astype(float)
    if carry_over is not None:
        columns[CARRY_OVER] = carry_over
    full = pd.DataFrame(columns)
    if np.linalg.matrix_rank(full.to_numpy()) == full.shape[1]:
        return full, ()
    if carry_over is not None:
        raise Refusal(
            "carry-over",
            "sequences in which it cannot be told from ring and period",
            "sequences that separate them, such as ABBA with BAAB",
            "leave the carry-over estimate out of the report",
        )
    return bare, ("Period effects cannot be told from the ring in these sequences and are not in the model.",)


def _random_labels(seen: pd.DataFrame, wanted: tuple[str, ...] | None) -> dict[str, pd.Series]:
    rider = seen["rider"].astype(str)
    labels = {
        "rider": rider,
        "rider:ring": rider + " : " + seen["ring"],
        "rider:period": rider + " : " + seen["period"].astype(str),
        "rider:intensity": rider + " : " + seen["intensity"].astype(str),
        "rider:ring:intensity": rider + " : " + seen["ring"] + " : " + seen["intensity"].astype(str),
    }
    if wanted is None:
        by_ring, by_period = labels["rider:ring"].nunique(), labels["rider:period"].nunique()
        wanted = ("rider",)
        wanted += ("rider:ring",) if by_ring < len(seen) else ()
        wanted += ("rider:period",) if by_ring < by_period < len(seen) else ()
    unknown = [term for term in wanted if term not in labels]
    if unknown:
        raise Refusal(
            "random terms", repr(unknown[0]), f"some of {', '.join(labels)}", "take the name of one of these"
        )
    return {term: labels[term] for term in wanted}


def _ring_before(trials: pd.DataFrame) -> pd.Series:
    order = ring_order(trials)
    code = order.replace({"oval": 0.5, "round": -0.5}).astype(float).shift(1, axis=1).fillna(0.0)
    cells = zip(trials["sequence"], trials["period"], strict=True)
    codes = [code.loc[sequence, period] for sequence, period in cells]
    return pd.Series(codes, index=trials.index)


def _name_effect(intensity: object) -> str:
    return f"oval at {intensity}"
