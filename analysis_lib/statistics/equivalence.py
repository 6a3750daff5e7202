"""Is there a difference, is there none that matters, or can the data not tell?

Three words, decided from one estimate, the smallest effect that matters (declared before the data) and alpha:

equivalent
    Two one-sided tests at alpha both reject: the 1 − 2 alpha interval (90 % for alpha 0.05) lies strictly
    between −smallest effect and +smallest effect. "No effect as large as that" can be stated.
difference
    Not equivalent, and the two-sided test at alpha rejects zero: the 1 − alpha interval excludes 0. The
    sentence adds whether the whole interval is beyond the smallest effect or this is still open.
undecided
    Neither. Nothing may be claimed; "not significant" is not "the same".

A precise study can show both: different from zero, yet too small to matter. The word is then *equivalent*,
because the question declared beforehand is whether the ring changes anything by an amount that matters;
`differs_from_zero` stays true and the sentence says so. These are the four outcomes of Lakens, Scheel &
Isager, Adv Methods Pract Psychol Sci 2018;1:259; the doubly significant one is named after the practical
question.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import (
    Estimate,
    Interval,
    decimals_for,
    show_df,
    show_level,
    show_number,
    show_p,
)

Word = Literal["difference", "equivalent", "undecided"]

ZERO, LARGE = "zero", "effects that large"
"""What the p of the two-sided test speaks against, and what that of the two one-sided tests does."""


@dataclass(frozen=True)
class EquivalenceTest:
    """Two one-sided t tests of an estimate against a lower and an upper bound.

    `t_lower` and `p_lower` test "at or below the lower bound", `t_upper` and `p_upper` test "at or above the
    upper bound"; `p` is the larger of the two, and `equivalent` is p < alpha.
    """

    estimate: Estimate
    lower: float
    upper: float
    alpha: float
    t_lower: float
    p_lower: float
    t_upper: float
    p_upper: float

    @property
    def p(self) -> float:
        """The larger of the two one-sided p values."""
        return max(self.p_lower, self.p_upper)

    @property
    def equivalent(self) -> bool:
        """Whether both one-sided tests reject at alpha."""
        return self.p < self.alpha

    def interval(self) -> Interval:
        """The 1 − 2 alpha interval; it lies inside the bounds exactly when both tests reject."""
        return self.estimate.interval(1 - 2 * self.alpha)


@dataclass(frozen=True)
class Verdict:
    """The word for an estimate, and what it rests on."""

    word: Word
    differs_from_zero: bool
    smallest_effect: float
    test: EquivalenceTest

    def sentence(self) -> str:
        """The estimate with its 1 − alpha interval, then the verdict with each p behind the statement that it tests."""
        estimate = self.test.estimate
        unit = f" {estimate.unit}" if estimate.unit else ""
        if not estimate.se > 0:
            shown = show_number(estimate.value, signed=True)
            return f"{estimate.quantity}: {shown}{unit}. The differences it rests on do not vary, so no test can be made."
        wide = estimate.interval(1 - self.test.alpha)
        shown = show_number(estimate.value, decimals_for(estimate.se), signed=True)
        beyond = min(abs(wide.low), abs(wide.high)) >= self.smallest_effect
        margin = f"{show_number(self.smallest_effect)}{unit}"
        zero, large = show_p(estimate.p, ZERO), show_p(self.test.p, LARGE)
        if self.word == "equivalent":
            large = f"{self._show(self.test.interval())}, {large}"
        found = say_verdict(self.word, margin, self.differs_from_zero, beyond, zero, large)
        counted = f"n = {estimate.n}{show_df(estimate.df)}"
        return f"{estimate.quantity}: {shown}{unit} ({self._show(wide)}; {counted}). {found}."

    def _show(self, bounds: Interval) -> str:
        return show_interval(bounds, self.test.estimate.se, self.test.estimate.unit)


def say_verdict(
    word: Word, margin: str, differs: bool = False, beyond: bool = False, zero: str = "", large: str = ""
) -> str:
    """Say the word for an estimate and what it means, without a full stop.

    Parameters
    ----------
    word : {"difference", "equivalent", "undecided"}
    margin : str
        The smallest effect that matters, with its unit.
    differs, beyond : bool
        Whether the interval excludes zero, and whether the whole of it lies beyond the smallest effect.
    zero, large : str
        What tests the statement about zero, and that about the smallest effect; each stands behind its statement.

    Examples
    --------
    >>> say_verdict("difference", "4 W", differs=True, zero="p against zero = 0.007")
    'Verdict: difference. It differs from zero (p against zero = 0.007); whether by as much as 4 W is not settled'
    """
    of_zero, of_large = (f" ({tested})" if tested else "" for tested in (zero, large))
    if word == "equivalent":
        start = f"It differs from zero{of_zero}, yet an" if differs else "An"
        meaning = f"{start} effect as large as {margin} in either direction is ruled out{of_large}"
    elif word == "undecided":
        meaning = f"Neither zero{of_zero} nor an effect as large as {margin}{of_large} can be ruled out"
    elif beyond:
        meaning = f"It differs from zero{of_zero}, and by at least {margin}"
    else:
        meaning = f"It differs from zero{of_zero}; whether by as much as {margin} is not settled"
    return f"Verdict: {word}. {meaning}"


def show_interval(bounds: Interval, se: float, unit: str = "") -> str:
    """Write an interval with its level, to two digits of the standard error.

    >>> show_interval(Interval(-0.83, 3.21, 0.95), 1.0, "W")
    '95 % interval −0.8 to 3.2 W'
    """
    low, high = (show_number(bound, decimals_for(se)) for bound in (bounds.low, bounds.high))
    return f"{show_level(bounds.level)} interval {low} to {high}{f' {unit}' if unit else ''}"


def two_one_sided_tests(
    estimate: Estimate, lower: float, upper: float, alpha: float = 0.05
) -> EquivalenceTest:
    """Test that an effect lies between two bounds, by two one-sided t tests.

    t_lower = (estimate − lower) / se must be large, t_upper = (estimate − upper) / se small, both on the
    degrees of freedom of the estimate.

    Parameters
    ----------
    estimate : Estimate
        Effect with its standard error; on the log scale, give log bounds.
    lower, upper : float
        Bounds in the unit of the estimate, lower < upper.
    alpha : float
        Level of each one-sided test.

    Raises
    ------
    Refusal
        Bounds in the wrong order, or alpha not between 0 and 0.5.

    References
    ----------
    Schuirmann, J Pharmacokinet Biopharm 1987;15:657.

    Examples
    --------
    >>> small = Estimate("Power, oval − round", value=0.0, se=1.0, df=20, unit="W", n=22, method="crossover")
    >>> tests = two_one_sided_tests(small, -3, 3)
    >>> tests.t_lower, tests.t_upper, tests.equivalent
    (3.0, -3.0, True)
    """
    _check_bounds(lower, upper, alpha)
    nan = float("nan")
    known = estimate.se > 0
    t_lower = (estimate.value - lower) / estimate.se if known else nan
    t_upper = (estimate.value - upper) / estimate.se if known else nan
    return EquivalenceTest(
        estimate,
        lower,
        upper,
        alpha,
        t_lower,
        float(scipy.stats.t.sf(t_lower, estimate.df)),
        t_upper,
        float(scipy.stats.t.cdf(t_upper, estimate.df)),
    )


def judge(estimate: Estimate, smallest_effect: float, alpha: float = 0.05) -> Verdict:
    """Decide between difference, equivalent and undecided; the words are defined at the head of this module.

    Parameters
    ----------
    estimate : Estimate
        Effect with its standard error.
    smallest_effect : float
        Smallest effect that matters, positive, in the unit of the estimate, declared before the data.
    alpha : float
        Level of the two-sided test of zero and of each one-sided test of equivalence.

    Examples
    --------
    >>> clear = Estimate("Power, oval − round", value=6.0, se=1.0, df=10, unit="W", n=12, method="crossover")
    >>> judge(clear, smallest_effect=3.0).word
    'difference'
    """
    if not smallest_effect > 0:
        raise Refusal(
            "smallest effect that matters",
            f"{smallest_effect}",
            "a number above 0 in the unit of the outcome",
            "declare it in the study settings before looking at the data",
        )
    tests = two_one_sided_tests(estimate, -smallest_effect, smallest_effect, alpha)
    differs = bool(estimate.p < alpha)
    word: Word = "equivalent" if tests.equivalent else "difference" if differs else "undecided"
    return Verdict(word, differs, smallest_effect, tests)


def _check_bounds(lower: float, upper: float, alpha: float) -> None:
    if not lower < upper:
        raise Refusal(
            "equivalence bounds", f"{lower} and {upper}", "lower < upper", "swap or mend the bounds"
        )
    if not 0 < alpha < 0.5:
        raise Refusal("alpha", f"{alpha}", "a number between 0 and 0.5", "0.05 is usual")
