"""How far apart can two ways of measuring the same thing be, for one subject on one occasion?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import (
    Estimate,
    Interval,
    check_level,
    decimals_for,
    show_level,
    show_number,
)
from analysis_lib.statistics.paired_differences import (
    REACH,
    Scale,
    TrueValue,
    check_word,
    find_spread,
    read_pairs,
)

LimitIntervals = Literal["symmetric", "skewed"]


@dataclass(frozen=True)
class Agreement:
    """Mean difference between two methods, and the limits between which 95 % of single differences lie.

    Attributes
    ----------
    bias, lower, upper : float
        Mean of a − b, and bias ± 1.96 sd; on the ratio scale geometric mean of a/b and its limits.
    sd : float
        Standard deviation of the difference between single measurements (of log a − log b for ratios).
    bias_interval, lower_interval, upper_interval : Interval
    slope : Estimate
        Slope of the difference on the mean of both, over subjects: away from 0 where the difference, or its
        limits, grow with what is measured, which the ratio scale may mend. NaN where subjects do not differ.
    variances : dict of str to float
        What sd² is made of.
    n, n_pairs : int
        Subjects (independent units) and pairs.
    unit, scale, method, note : str
    """

    bias: float
    sd: float
    lower: float
    upper: float
    bias_interval: Interval
    lower_interval: Interval
    upper_interval: Interval
    slope: Estimate
    variances: dict[str, float]
    n: int
    n_pairs: int
    unit: str
    scale: Scale
    method: str
    note: str

    def sentence(self) -> str:
        """Bias and limits with their intervals, in one sentence."""
        wide = self.bias_interval.high - self.bias_interval.low
        decimals = decimals_for(wide / 4)
        unit = f" {self.unit}" if self.unit else ""

        def show(value: float, bounds: Interval) -> str:
            ends = f"{show_number(bounds.low, decimals)} to {show_number(bounds.high, decimals)}"
            return f"{show_number(value, decimals)}{unit} ({ends})"

        name = "Ratio a/b" if self.scale == "ratio" else "Difference a \N{MINUS SIGN} b"
        note = f" {self.note}" if self.note else ""
        return (
            f"{name}: {show(self.bias, self.bias_interval)}, limits of agreement"
            f" {show(self.lower, self.lower_interval)} and {show(self.upper, self.upper_interval)};"
            f" {show_level(self.bias_interval.level)} intervals, n = {self.n}, {self.n_pairs} pairs,"
            f" {self.method}.{note}"
        )


def bland_altman(
    a: ArrayLike,
    b: ArrayLike,
    subject: ArrayLike | None = None,
    true_value: TrueValue = "varying",
    level: float = 0.95,
    scale: Scale = "difference",
    unit: str = "",
    limit_intervals: LimitIntervals = "symmetric",
) -> Agreement:
    """Bias and 95 % limits of agreement of two methods, from pairs or from pairs repeated within subjects.

    Parameters
    ----------
    a, b : array (pairs,)
        Values of the two methods, in one unit.
    subject : array (pairs,), optional
        Whose pair it is, where subjects gave several. Left out, every pair is a subject of its own.
    true_value : {"varying", "constant"}
        Between the pairs of a subject the true value varied, and pairs were taken together; or it did not,
        and the methods' readings need not be linked.
    level : float
        Of the intervals around bias and limits. The limits themselves always hold 95 %.
    scale : {"difference", "ratio"}
        Ratio: the analysis of logarithms, given back as ratios a/b.
    unit : str
        Of a and b; a ratio has none.
    limit_intervals : {"symmetric", "skewed"}
        How sure the limits are: limit ± t · standard error, as Bland and Altman print it; or longer outward
        than inward, as the spread of a small sample is (Zou 2013). With 8, 12 or 20 subjects the true limit
        lies beyond the outward end in 7.3, 6.2 or 5.8 % of studies by the first and 2.6, 2.8 or 2.9 % by the
        second, where 2.5 % is meant (own simulation, 20 000 studies each).

    Raises
    ------
    Refusal
        Lengths that differ, values that are missing or infinite (or not positive, for ratios), a missing
        subject, fewer than three subjects, `subject` given without a repeat, constant truth with a subject
        of one pair only, differences that do not vary, an unknown word for an argument.

    Notes
    -----
    With d = a − b and m_i pairs of subject i, sd² is
    - one pair each: the variance of d;
    - varying truth: MSW + (MSB − MSW)/m0 of the one-way analysis of variance of d,
      m0 = ((Σm)² − Σm²)/((n − 1) Σm);
    - constant truth: Var(mean d) + (1 − mean(1/m)) (s_a² + s_b²), s² a method's variance within subjects.
    The standard error of a limit is, for single pairs, s sqrt(1/n + 1.96²/(2(n − 1))), on n − 1 df; for
    repeats the delta method extends it.

    References
    ----------
    Bland & Altman, Lancet 1986;i:307; Stat Methods Med Res 1999;8:135; J Biopharm Stat 2007;17:571.
    Zou, Stat Methods Med Res 2013;22:630.

    Examples
    --------
    Differences −1, 1, −1, 1 have mean 0 and SD 1.1547:

    >>> agreement = bland_altman([1, 3, 4, 7], [2, 2, 5, 6])
    >>> agreement.bias, round(agreement.sd, 4), round(agreement.upper, 4)
    (0.0, 1.1547, 2.2632)
    """
    check_level(level)
    pairs = read_pairs(a, b, subject, scale)
    spread = find_spread(pairs, subject is not None, true_value)
    sd = spread.variance**0.5
    _check_differences_vary(sd, pairs)
    check_word("limit_intervals", limit_intervals, ("symmetric", "skewed"))
    n = int(pairs.subject.nunique())
    of_bias = float(scipy.stats.t.ppf((1 + level) / 2, n - 1)) * spread.bias_variance**0.5
    find_reach = spread.symmetric_reach if limit_intervals == "symmetric" else spread.skewed_reach
    inward, outward = find_reach(level, n)
    lower, upper = spread.bias - REACH * sd, spread.bias + REACH * sd
    give_back = math.exp if scale == "ratio" else float

    def between(low: float, high: float) -> Interval:
        return Interval(give_back(low), give_back(high), level)

    return Agreement(
        bias=give_back(spread.bias),
        sd=sd,
        lower=give_back(lower),
        upper=give_back(upper),
        bias_interval=between(spread.bias - of_bias, spread.bias + of_bias),
        lower_interval=between(lower - outward, lower + inward),
        upper_interval=between(upper - inward, upper + outward),
        slope=_find_slope(pairs),
        variances=spread.parts,
        n=n,
        n_pairs=len(pairs),
        unit="" if scale == "ratio" else unit,
        scale=scale,
        method=spread.method + (", on logarithms" if scale == "ratio" else ""),
        note=spread.note,
    )


def _check_differences_vary(sd: float, pairs: pd.DataFrame) -> None:
    if sd <= 1e-12 * np.abs(pairs[["a", "b"]].to_numpy()).max():
        raise Refusal(
            "differences of two methods",
            "the same difference for every pair",
            "differences that vary",
            "look for values that were copied from one method to the other",
        )


def _find_slope(pairs: pd.DataFrame) -> Estimate:
    means = pairs.groupby("subject")[["a", "b"]].mean()
    middle, difference = means.mean(axis=1), means.a - means.b
    name, method, n = "Slope of difference on mean", "least squares over subjects", len(means)
    if np.ptp(middle) == 0:
        return Estimate(name, math.nan, math.nan, n - 2, "", n, method)
    line = scipy.stats.linregress(middle, difference)
    return Estimate(name, float(line.slope), float(line.stderr), n - 2, "", n, method)
