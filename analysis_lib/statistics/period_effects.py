"""Did the outcome drift from period to period, and did a ring leave something behind for the next period?

For reading beside the ring effect, with intervals. Choosing the analysis by a test of carry-over inflates
false positives to 8 or 9 % (Freeman, Stat Med 1989;8:1421), so nothing here is a gate.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.ring_model import CARRY_OVER, DfMethod, fit_ring_model
from analysis_lib.statistics.trial_table import check_trials, ring_order, split_intensities

COLUMNS = ["intensity", "period", "versus", "estimate", "se", "df", "t", "p", "low", "high", "n", "note"]


def period_effects(table: pd.DataFrame, value: str, level: float = 0.95) -> pd.DataFrame:
    """Estimate each period − the first period, free of the ring effect, at each intensity and overall.

    A rider's difference y_p − y_1 is regressed on the change of ring between the two periods (oval − round:
    −1, 0 or 1); the intercept is the period effect. For AB/BA it equals half the sum of the two sequences'
    mean differences, on n − 2 degrees of freedom.

    Parameters
    ----------
    table, value : DataFrame, str
        As for `crossover.ring_effect`.

    Returns
    -------
    DataFrame
        intensity, period, versus, estimate, se, df, t, p, low, high, n, note. Where all riders change ring in
        the same way the period effect cannot be told from the ring's, and the note says so beside NaN; as it
        does at an intensity without a value.
        "overall" takes a rider's mean over all intensities.

    References
    ----------
    Hills & Armitage, Br J Clin Pharmacol 1979;8:7. Jones & Kenward 2014, sec. 2.

    Examples
    --------
    One rider AB with 10 then 13, one BA with 10 then 11 (A round, B oval): (3 + 1)/2 = 2 from period 1 to 2.
    """
    trials = check_trials(table, value)
    oval = trials.pivot_table(index="rider", columns="period", values="ring", aggfunc="first") == "oval"
    rows = []
    for intensity, part in split_intensities(trials):
        wide = _spread_periods(part)
        if wide.shape[1] < 2:
            seen = f"values in {wide.shape[1]} period{'s' if wide.shape[1] != 1 else ''}"
            rows.append((intensity, *[np.nan] * 9, len(wide), f"{seen}: there is nothing to compare"))
            continue
        first = wide.columns[0]
        for period in wide.columns[1:]:
            step = (wide[period] - wide[first]).dropna()
            change = oval.loc[step.index, period].astype(float) - oval.loc[step.index, first].astype(float)
            rows.append((intensity, period, first, *_estimate_step(step, change, level)))
    return pd.DataFrame(rows, columns=COLUMNS)


def carry_over(table: pd.DataFrame, value: str, df_method: DfMethod = "kenward-roger") -> Estimate:
    """Estimate what an oval ring leaves behind for the next period, less what a round one leaves.

    With two periods it is the difference between the riders' totals, oval-first − round-first, by a
    two-sample t with pooled variance; it cannot be told from a difference between the groups of riders, and
    rests on differences between riders, so it is vague. With more periods the ring of the period before is
    added to the mixed model of `ring_model`. The estimate is the mean over intensities.

    Parameters
    ----------
    table, value : DataFrame, str
        As for `crossover.ring_effect`. The ring before is the one that the rider's sequence rode in the
        period before, whether or not that trial gave a value.
    df_method : {"kenward-roger", "satterthwaite"}
        For the mixed model.

    Raises
    ------
    Refusal
        One sequence alone, a two-period study in which all riders started on the same ring, or too few
        riders.

    References
    ----------
    Hills & Armitage, Br J Clin Pharmacol 1979;8:7. Jones & Kenward 2014, sec. 2.

    Examples
    --------
    Totals 20 and 24 after oval first, 19 and 21 after round first: 22 − 20 = 2.
    """
    trials = check_trials(table, value)
    order = ring_order(trials)
    if len(order) < 2:
        raise Refusal(
            "carry-over",
            "one sequence",
            "at least two",
            "with one sequence it cannot be told from period effects",
        )
    if order.shape[1] == 2 and (order.nunique(axis=1) == 2).all():
        return _compare_totals(trials, order, value)
    model, _ = fit_ring_model(trials, df_method, carry_over=True)
    return model.contrast({CARRY_OVER: 1.0}, f"{value}, carry-over, oval − round")


def _spread_periods(part: pd.DataFrame) -> pd.DataFrame:
    return part.dropna(subset=["value"]).pivot_table(index="rider", columns="period", values="value")


def _estimate_step(step: pd.Series, change: pd.Series, level: float) -> tuple:
    design = np.column_stack([np.ones(len(step)), change])
    if np.ptp(design[:, 1]) == 0:
        if design[0, 1] != 0:
            return (*[np.nan] * 7, len(step), "cannot be told from the ring: all riders changed it alike")
        design = design[:, :1]
    if len(step) <= design.shape[1]:
        return (*[np.nan] * 7, len(step), "too few riders with both periods")
    from statsmodels.regression.linear_model import OLS  # slow to load, and few pages need it

    fit = OLS(step.to_numpy(), design).fit()
    se = float(fit.bse[0]) if fit.bse[0] > 16 * np.finfo(float).eps * step.abs().max() else 0.0
    e = Estimate("period", float(fit.params[0]), se, float(fit.df_resid), "", len(step), "")
    bounds = e.interval(level)
    return (e.value, e.se, e.df, e.t, e.p, bounds.low, bounds.high, e.n, "")


def _compare_totals(trials: pd.DataFrame, order: pd.DataFrame, value: str) -> Estimate:
    _, whole = split_intensities(trials)[-1]
    complete = _spread_periods(whole).sum(axis=1, skipna=False).dropna()
    first_ring = trials.drop_duplicates("rider").set_index("rider")["sequence"].map(order.iloc[:, 0])
    oval_first, round_first = (complete[first_ring.loc[complete.index] == ring] for ring in ("oval", "round"))
    n = len(complete)
    if oval_first.empty or round_first.empty or n < 3:
        raise Refusal(
            "carry-over",
            f"{len(oval_first)} complete riders with the oval ring first, {len(round_first)} with round",
            "riders of both kinds, three or more in all",
            "leave the carry-over estimate out of the report",
        )
    inside = sum(float(((group - group.mean()) ** 2).sum()) for group in (oval_first, round_first))
    se = float(np.sqrt(inside / (n - 2) * (1 / len(oval_first) + 1 / len(round_first))))
    difference = float(oval_first.mean() - round_first.mean())
    method = "two-sample t on the riders' totals over both periods, oval first − round first"
    return Estimate(f"{value}, carry-over, oval − round", difference, se, n - 2, "", n, method)
