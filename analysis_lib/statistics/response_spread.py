"""How much do riders differ in their true response to the oval ring, apart from error?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy  # its parts are loaded when first asked for

from analysis_lib.statistics.estimates import (
    Interval,
    check_level,
    decimals_for,
    show_level,
    show_number,
    show_p,
)

COLLAPSED_P = 0.95
"""Above this p contrasts are more alike than in nineteen of twenty studies whose riders do not differ at all."""


@dataclass(frozen=True)
class ResponseSpread:
    """Standard deviation of the riders' true responses, apart from measurement and day.

    Parameters
    ----------
    sd : float
        Square root of the variance estimate; 0 where that is negative.
    variance : float
        Variance between riders' contrasts − variance that replicates alone would give them; may be negative.
    p : float
        One-sided, of no spread at all: F of the two variances.
    between, within : float
        The two variances.
    between_df, within_df : int
        Their degrees of freedom.
    n : int
        Riders.
    """

    sd: float
    variance: float
    p: float
    between: float
    within: float
    between_df: int
    within_df: int
    n: int
    unit: str

    @property
    def collapsed(self) -> bool:
        """Whether contrasts vary so much less than replicates that the interval shrinks towards 0, which is no finding.

        Then p is above 0.95: of twenty studies whose riders do not differ at all, one has contrasts so much alike. The
        difference of variances is then far below 0 and its upper bound near 0 or at it, by chance or because replicates
        err in ways that contrasts do not.
        """
        return self.p > COLLAPSED_P

    def cautious_bound(self, level: float = 0.95) -> float:
        """Upper bound of the standard deviation that no error of replicates can lower: that of the contrasts.

        σ(contrasts) ≥ σ(response), so the upper end of the χ² interval of the first, √(df · between/χ²), bounds both. It is
        wider than `interval`, and does not collapse with it.
        """
        check_level(level)
        point = float(scipy.stats.chi2.ppf((1 - level) / 2, self.between_df))
        return math.sqrt(self.between_df * self.between / point)

    def interval(self, level: float = 0.95) -> Interval:
        """Interval for the standard deviation; its low end is 0 where no spread cannot be ruled out.

        Modified large-sample bounds for a difference of two variances, `between` − `within`.

        References
        ----------
        Ting, Burdick, Graybill, Jeyaratnam & Lu, J Stat Comput Simul 1990;35:135.
        """
        check_level(level)
        low, high = _difference_bounds(
            self.between, self.within, self.between_df, self.within_df, (1 - level) / 2
        )
        return Interval(math.sqrt(max(low, 0.0)), math.sqrt(max(high, 0.0)), level)

    def sentence(self, level: float = 0.95) -> str:
        """One sentence for a report."""
        bounds = self.interval(level)
        unit = f" {self.unit}" if self.unit else ""
        if self.collapsed:
            return self._collapsed_sentence(unit)
        decimals = decimals_for(bounds.high) + 1
        sd, low, high = (show_number(value, decimals) for value in (self.sd, bounds.low, bounds.high))
        return (
            f"SD of individual response: {sd}{unit} ({show_level(level)} interval {low} to {high};"
            f" n = {self.n}; {show_p(self.p)} for no spread; contrasts between riders against replicates)"
        )

    def _collapsed_sentence(self, unit: str) -> str:
        between, within = (
            f"{show_number(sd, decimals_for(sd))}{unit}" for sd in map(math.sqrt, (self.between, self.within))
        )
        return (
            f"SD of individual response: not estimable (n = {self.n}). The riders' contrasts vary less (SD {between}, df ="
            f" {self.between_df}) than their replicates alone would make them (SD {within}, df = {self.within_df};"
            f" {show_p(self.p)} for no spread), so the variance between responses comes out negative and its interval"
            " shrinks to nothing, which is a limit of the method and no finding"
        )


def _difference_bounds(first: float, second: float, m: int, k: int, tail: float) -> tuple[float, float]:
    """Bounds of σ₁² − σ₂² from variances on m and k degrees of freedom; `first` alone when `second` is 0."""
    # Each bound passes zero exactly where the F test at this tail turns, and is the chi-squared bound for one.
    upper_1, lower_1 = scipy.stats.chi2.ppf(1 - tail, m) / m, scipy.stats.chi2.ppf(tail, m) / m
    upper_2, lower_2 = scipy.stats.chi2.ppf(1 - tail, k) / k, scipy.stats.chi2.ppf(tail, k) / k
    bounds = []
    for f, one, two in (
        (scipy.stats.f.ppf(1 - tail, m, k), 1 - 1 / upper_1, 1 / lower_2 - 1),
        (scipy.stats.f.ppf(tail, m, k), 1 / lower_1 - 1, 1 - 1 / upper_2),
    ):
        cross = ((f - 1) ** 2 - (one * f) ** 2 - two**2) / f
        bounds.append(math.sqrt(max((one * first) ** 2 + (two * second) ** 2 + cross * first * second, 0.0)))
    return first - second - bounds[0], first - second + bounds[1]
