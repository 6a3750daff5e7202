"""Does any of several rings differ from the round one?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, stats
from statsmodels.regression.linear_model import OLS

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate, check_level
from analysis_lib.statistics.trial_table import check_trials, split_intensities

COLUMNS = ["intensity", "ring", "estimate", "se", "df", "t", "p", "p_family", "low", "high", "n"]


@dataclass(frozen=True, eq=False)
class RingsEffect:
    """Every ring − the reference ring, with intervals that hold for all rings at once.

    `families` keeps, by intensity, the estimates by ring and the correlation of their errors.
    """

    value: str
    reference: str
    level: float
    families: dict[object, tuple[dict[str, Estimate], NDArray[np.float64]]]

    @property
    def method(self) -> str:
        """How it was made, in words."""
        return (
            "rider + period + ring least squares; intervals and p_family simultaneous over the rings at one"
            f" intensity, by the multivariate t distribution (Dunnett) against {self.reference}"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity and ring; p_family, low and high hold for all rings together."""
        rows = []
        for intensity, (estimates, correlation) in self.families.items():
            df = next(iter(estimates.values())).df
            critical = critical_t(correlation, df, self.level)
            for ring, e in estimates.items():
                family = max(1 - _chance_inside(abs(e.t), correlation, df), e.p) if e.se > 0 else math.nan
                reach = critical * e.se if e.se > 0 else math.nan
                low, high = e.value - reach, e.value + reach
                rows.append((intensity, ring, e.value, e.se, e.df, e.t, e.p, family, low, high, e.n))
        return pd.DataFrame(rows, columns=COLUMNS)


def rings_effect(
    table: pd.DataFrame, value: str, rings: tuple[str, ...], reference: str = "round", level: float = 0.95
) -> RingsEffect:
    """Contrast several rings with the reference in a crossover in which each rider rides each ring once.

    At each intensity, value = rider + period + ring + residual, all fixed, by least squares; "overall" takes
    the mean over all intensities of a rider's period. For a Williams design this is its standard analysis.

    Parameters
    ----------
    table, value, level
        As for `crossover.ring_effect`, with other ring names.
    rings : tuple of str
        All ring names, the reference among them.
    reference : str
        The ring to compare with.

    Raises
    ------
    Refusal
        As `trial_table.check_trials`; also a ring ridden twice by a rider (riders differ in their response,
        so repeats are no independent trials: use `mixed.fit_mixed_model` with rider and rider:ring), or rings
        that cannot be told from periods.

    References
    ----------
    Dunnett, J Am Stat Assoc 1955;50:1096. Jones & Kenward 2014, sec. 4.
    """
    check_level(level)
    if reference not in rings or len(rings) < 2:
        raise Refusal("rings", f"{rings}", f"two or more names, {reference} among them", "list every ring")
    trials = check_trials(table, value, tuple(rings))
    _check_no_repeats(trials)
    others = [ring for ring in rings if ring != reference]
    families = {
        intensity: _fit_family(here.dropna(subset=["value"]), others, f"{value}, {intensity}", reference)
        for intensity, here in split_intensities(trials)
    }
    return RingsEffect(value, reference, level, families)


def critical_t(correlation: NDArray[np.float64], df: float, level: float) -> float:
    """Find c such that all |t_i| of a multivariate t distribution stay below c with probability `level`.

    Examples
    --------
    One contrast has Student's t, 2.228 on 10 degrees of freedom (any table of t):

    >>> round(critical_t(np.eye(1), 10, 0.95), 3)
    2.228
    """
    single = float(stats.t.ppf((1 + level) / 2, df))
    if len(correlation) == 1:
        return single
    bonferroni = float(stats.t.ppf(1 - (1 - level) / 2 / len(correlation), df))
    return float(
        optimize.brentq(
            lambda c: _chance_inside(c, correlation, df) - level, 0.99 * single, 1.01 * bonferroni, xtol=1e-5
        )
    )


def _chance_inside(c: float, correlation: NDArray[np.float64], df: float) -> float:
    if len(correlation) == 1:
        return float(1 - 2 * stats.t.sf(c, df))
    reach = np.full(len(correlation), c)
    # A fixed stream makes the quasi-random integral a smooth function of c and the same on every run.
    return float(
        stats.multivariate_t.cdf(
            reach,
            shape=correlation,
            df=int(df),
            lower_limit=-reach,
            maxpts=20000,
            random_state=np.random.default_rng(0),
        )
    )


def _check_no_repeats(trials: pd.DataFrame) -> None:
    twice = trials.dropna(subset=["value"]).duplicated(["rider", "ring", "intensity"])
    if twice.any():
        row = trials.loc[twice.index[twice][0]]
        raise Refusal(
            f"trial table, rider {row['rider']}, ring {row['ring']}, intensity {row['intensity']}",
            "more than one period",
            "each ring once a rider",
            "fit the mixed model with rider and rider:ring as random terms",
        )


def _fit_family(
    seen: pd.DataFrame, others: list[str], quantity: str, reference: str
) -> tuple[dict[str, Estimate], NDArray[np.float64]]:
    ring = np.column_stack([seen["ring"] == name for name in others]).astype(float)
    rider = pd.get_dummies(seen["rider"].astype(str), dtype=float).to_numpy()
    period = pd.get_dummies(seen["period"].astype(str), dtype=float, drop_first=True).to_numpy()
    design = np.column_stack([ring, rider, period])
    if len(seen) <= design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise Refusal(
            quantity,
            f"{len(seen)} values of {rider.shape[1]} riders",
            "enough riders and sequences to tell rings from periods and riders",
            "add riders or sequences, or leave this intensity out",
        )
    fit = OLS(seen["value"].to_numpy(), design).fit()
    k, df, n = len(others), float(fit.df_resid), rider.shape[1]
    errors = np.where(fit.bse[:k] > 16 * np.finfo(float).eps * seen["value"].abs().max(), fit.bse[:k], 0.0)
    method = "rider + period + ring least squares"
    estimates = {
        name: Estimate(f"{quantity}, {name} − {reference}", float(value), float(se), df, "", n, method)
        for name, value, se in zip(others, fit.params[:k], errors, strict=True)
    }
    covariance = fit.normalized_cov_params[:k, :k]
    scale = np.sqrt(np.diag(covariance))
    return estimates, covariance / np.outer(scale, scale)
