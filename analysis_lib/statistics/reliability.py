"""How well does a measurement repeat: in its own unit, beside the spread of subjects, and over turns?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval, check_level, decimals_for, show_level, show_number
from analysis_lib.statistics.intraclass_forms import agreement_forms, consistency_forms, one_way_forms
from analysis_lib.statistics.paired_differences import REACH, Scale, check_word
from analysis_lib.statistics.repeated_values import analyse_variance, read_complete_table

# Shrout & Fleiss 1979, Psychol Bull 86:420, with the words of McGraw & Wong 1996 for what each form asks.
WHEN_TO_USE = {
    "ICC(1,1)": "each subject rated by other raters; one rating",
    "ICC(2,1)": "raters are a sample, and their mean differences are error (agreement); one rating",
    "ICC(3,1)": "these raters only, mean differences left out (consistency); one rating",
    "ICC(1,k)": "each subject rated by other raters; mean of k ratings",
    "ICC(2,k)": "raters are a sample, and their mean differences are error (agreement); mean of k ratings",
    "ICC(3,k)": "these raters only, mean differences left out (consistency); mean of k ratings",
}


@dataclass(frozen=True)
class TypicalError:
    """Standard deviation of one subject's repeated values, from residuals on `df` degrees of freedom.

    Attributes
    ----------
    sd : float
        Within-subject standard deviation, of logarithms on the ratio scale.
    df, n, k : int
        Degrees of freedom, subjects, trials.
    unit, scale, method : str
    """

    sd: float
    df: int
    n: int
    k: int
    unit: str
    scale: Scale
    method: str

    @property
    def value(self) -> float:
        """Typical error in `unit`; on the ratio scale the coefficient of variation, 100 (exp(sd) − 1) %."""
        return self._in_unit(self.sd)

    @property
    def minimal_detectable_change(self) -> float:
        """Change of one subject between two single trials that error passes once in 20: 1.96 √2 sd."""
        return self._in_unit(REACH * 2**0.5 * self.sd)

    @property
    def repeatability_coefficient(self) -> float:
        """The same with the factor 2 of Bland & Altman 1986 (and British Standards): 2 √2 sd."""
        return self._in_unit(2 * 2**0.5 * self.sd)

    def interval(self, level: float = 0.95) -> Interval:
        """Interval of `value` from the chi-square distribution: sd sqrt(df/χ²)."""
        check_level(level)
        chi_square = scipy.stats.chi2.isf([(1 - level) / 2, (1 + level) / 2], self.df)
        low, high = self.sd * (self.df / chi_square) ** 0.5
        return Interval(self._in_unit(float(low)), self._in_unit(float(high)), level)

    def sentence(self, level: float = 0.95) -> str:
        """Typical error with interval and the smallest change that it lets one see."""
        bounds = self.interval(level)
        decimals = decimals_for((bounds.high - bounds.low) / 4)
        low, high, value, change = (
            show_number(v, decimals)
            for v in (bounds.low, bounds.high, self.value, self.minimal_detectable_change)
        )
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"Typical error {value}{unit} ({show_level(level)} interval {low} to {high}; n = {self.n},"
            f" {self.k} trials, df = {self.df}; {self.method});"
            f" smallest detectable change of one subject {change}{unit}."
        )

    def _in_unit(self, sd: float) -> float:
        return 100 * math.expm1(sd) if self.scale == "ratio" else sd


def typical_error(
    table: pd.DataFrame,
    subject: str,
    trial: str,
    value: str,
    scale: Scale = "difference",
    trial_effect: bool = True,
    unit: str = "",
) -> TypicalError:
    """How much a subject's value differs from trial to trial.

    Parameters
    ----------
    table : DataFrame
        One row a trial, complete: every subject on every trial.
    subject, trial, value : str
        Names of its columns.
    scale : {"difference", "ratio"}
        Ratio: of logarithms, given back as a coefficient of variation in percent.
    trial_effect : bool
        Whether a mean change from trial to trial (learning, fatigue) is left out of the error; for two
        trials SD(difference)/√2. Otherwise the variance within subjects of a one-way analysis.
    unit : str
        Of the value; percent on the ratio scale.

    Raises
    ------
    Refusal
        As `icc`; values that are not positive on the ratio scale; subjects who repeat exactly.

    References
    ----------
    Hopkins 2000, Sports Med 30:1. Bland & Altman 1996, BMJ 313:744 (one-way). Weir 2005, J Strength Cond
    Res 19:231 (minimal difference).

    Examples
    --------
    Differences 1, 3, 2 have SD 1; divided by √2:

    >>> days = {"rider": [*"abcabc"], "day": [*"111222"], "power_W": [200, 250, 220, 201, 253, 222]}
    >>> round(typical_error(pd.DataFrame(days), "rider", "day", "power_W").value, 4)
    0.7071
    """
    check_word("scale", scale, ("difference", "ratio"))
    values = read_complete_table(table, subject, trial, value)
    if scale == "ratio":
        if values.min() <= 0:
            raise Refusal(
                f"column {value!r}", f"{values.min():g}", "positive values for ratios", "use differences"
            )
        values, unit = np.log(values), "%"
    squares = analyse_variance(values)
    n, k = squares.n, squares.k
    square, df = (squares.error, (n - 1) * (k - 1)) if trial_effect else (squares.within, n * (k - 1))
    if square <= 1e-24 * (values**2).max():
        raise Refusal(
            f"column {value!r}", "exact repeats", "values that vary", "look for values that were copied"
        )
    method = "mean change between trials left out" if trial_effect else "variance within subjects"
    return TypicalError(square**0.5, df, n, k, unit, scale, method)


def turns_needed(turn_sd: float, margin: float, level: float = 0.95, independent_share: float = 1.0) -> int:
    """Turns after which the interval of their mean is no wider than ± margin.

    The smallest n with t(m − 1, (1 + level)/2) · turn_sd / √m ≤ margin, m = n · independent_share.

    Parameters
    ----------
    turn_sd, margin : float
        SD between turns of one trial, and half-width wanted, in one unit.
    level : float
    independent_share : float
        Effective over actual number of turns, in (0, 1]; turns that follow one another are alike, so the
        share is below 1 (`serial.mean_with_se` gives both numbers).

    Raises
    ------
    Refusal
        A spread or margin that is not positive, or a share outside (0, 1].

    Examples
    --------
    SD twice the margin: t(17) 2.110/√18 = 0.497, but t(16) 2.120/√17 = 0.514.

    >>> turns_needed(1.0, 0.5), turns_needed(1.0, 0.5, independent_share=0.5)
    (18, 36)
    """
    check_level(level)
    if not (0 < turn_sd < math.inf and 0 < margin < math.inf and 0 < independent_share <= 1):
        got = f"turn_sd {turn_sd}, margin {margin}, independent_share {independent_share}"
        raise Refusal("turns needed", got, "positive numbers, the share at most 1", "check units and order")
    # Student's t exceeds the normal quantile, so the search starts below the answer and ends soon.
    m = max(2, math.floor((scipy.stats.norm.isf((1 - level) / 2) * turn_sd / margin) ** 2))
    while scipy.stats.t.isf((1 - level) / 2, m - 1) * turn_sd > margin * m**0.5:
        m += 1
    return math.ceil(m / independent_share)


def icc(table: pd.DataFrame, subject: str, rater: str, value: str, level: float = 0.95) -> pd.DataFrame:
    """The six intraclass correlations of Shrout and Fleiss, with intervals and with words for choosing one.

    Parameters
    ----------
    table : DataFrame
        One row a rating.
    subject, rater, value : str
        Names of its columns: whom or what, by whom or on which trial, and the rating.
    level : float
        Of the intervals.

    Returns
    -------
    DataFrame
        form ("ICC(1,1)" … "ICC(3,k)"), icc, low, high, f, df1, df2, p (of no correlation), use (what the
        form asks) and reading (of the interval, in the words of Koo & Li 2016: poor below 0.5, moderate to
        0.75, good to 0.9, excellent above).

    Raises
    ------
    Refusal
        Missing columns, ratings that are missing, not finite or given twice, fewer than two subjects or
        raters, subjects that do not differ, raters who agree exactly.

    References
    ----------
    Shrout & Fleiss 1979, Psychol Bull 86:420. McGraw & Wong 1996, Psychol Methods 1:30 (intervals of the
    two-way forms). Koo & Li 2016, J Chiropr Med 15:155.

    Examples
    --------
    Two raters, the second 1 higher but for one rating, are consistent, yet agree less. Mean squares are
    59/24 for subjects, 9/8 for raters, 1/8 for error: (59 − 3)/(59 + 3) = 0.903, 56/(62 + 12) = 0.757.

    >>> scores = {"rider": [*"abcdabcd"], "rater": [*"11112222"], "score": [1, 2, 3, 4, 2, 3, 4, 4]}
    >>> forms = icc(pd.DataFrame(scores), "rider", "rater", "score").set_index("form").icc
    >>> forms[["ICC(2,1)", "ICC(3,1)"]].round(3).tolist()
    [0.757, 0.903]
    """
    check_level(level)
    squares = analyse_variance(read_complete_table(table, subject, rater, value))
    if squares.error <= 1e-12 * squares.subjects or squares.subjects == 0:
        got = "raters who agree exactly" if squares.subjects else "subjects who do not differ"
        raise Refusal(f"column {value!r}", got, "ratings that vary", "look for ratings that were copied")
    kinds = (one_way_forms, agreement_forms, consistency_forms)
    forms = [row for kind in kinds for row in kind(squares, level)]
    frame = pd.DataFrame(forms, columns=["form", "icc", "low", "high", "f", "df1", "df2"])
    frame = frame.set_index("form").loc[list(WHEN_TO_USE)].reset_index()
    frame["p"] = scipy.stats.f.sf(frame.f, frame.df1, frame.df2)
    frame["use"] = frame.form.map(WHEN_TO_USE)
    frame["reading"] = [_read_interval(low, high) for low, high in zip(frame.low, frame.high, strict=True)]
    return frame


def _read_interval(low: float, high: float) -> str:
    words = [
        ("poor", "moderate", "good", "excellent")[int(np.searchsorted([0.5, 0.75, 0.9], v))]
        for v in (low, high)
    ]
    return words[0] if words[0] == words[1] else f"{words[0]} to {words[1]}"
