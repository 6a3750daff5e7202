"""What does every analysis hand back? An estimate with its uncertainty, and intervals at any level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.quantiles import t_quantile

MINUS = "\N{MINUS SIGN}"

NOTHING = 1e-12
"""Smaller than anything that is shown here in its unit, and larger than what is left when equal numbers are subtracted."""


@dataclass(frozen=True)
class Interval:
    """An interval and the confidence level that it was made for.

    Examples
    --------
    >>> Interval(-0.8, 3.2, 0.95).excludes(0.0)
    False
    """

    low: float
    high: float
    level: float

    def excludes(self, value: float) -> bool:
        """Whether `value` lies outside the interval; never true of an interval that is not known."""
        return bool(value < self.low or value > self.high)


@dataclass(frozen=True)
class Estimate:
    """A quantity with its standard error, on a t distribution with `df` degrees of freedom.

    Parameters
    ----------
    quantity : str
        What was estimated, as it should read in a sentence: "Power, oval − round".
    value, se : float
        Estimate and standard error, both in `unit`. A standard error of exactly 0 means that the data did
        not vary, which says nothing about how sure the value is: t, p and interval are then NaN.
    df : float
        Degrees of freedom; `math.inf` for a normal distribution, NaN where none could be had.
    unit : str
        Unit of value and standard error; empty for a bare number.
    n : int
        How many riders (or other independent units) it rests on.
    method : str
        In words, how it was made.

    Raises
    ------
    Refusal
        A negative standard error or degrees of freedom that are not positive.

    Examples
    --------
    The 97.5 % point of t with 10 degrees of freedom is 2.228 (any table of t):

    >>> power = Estimate("Power, oval − round", value=1.2, se=1.0, df=10, unit="W", n=12, method="paired t")
    >>> round(power.interval(0.95).high, 3)
    3.428
    """

    quantity: str
    value: float
    se: float
    df: float
    unit: str
    n: int
    method: str

    def __post_init__(self) -> None:
        if self.se < 0:
            raise Refusal(
                f"standard error of {self.quantity}",
                f"{self.se}",
                "zero or more",
                "check how the estimate was made",
            )
        if self.df <= 0:
            raise Refusal(
                f"degrees of freedom of {self.quantity}",
                f"{self.df}",
                "more than zero",
                "more riders are needed",
            )

    @property
    def t(self) -> float:
        """Estimate over standard error; NaN when the data did not vary."""
        return self.value / self.se if self.se > 0 else math.nan

    @property
    def p(self) -> float:
        """Two-sided p against 0; NaN when the data did not vary."""
        return float(2 * scipy.stats.t.sf(abs(self.t), self.df))

    def interval(self, level: float = 0.95) -> Interval:
        """Two-sided interval: value ± t(df, (1 + level)/2) · se; NaN when the data did not vary."""
        check_level(level)
        reach = t_quantile((1 + level) / 2, self.df) * self.se if self.se > 0 else math.nan
        return Interval(self.value - reach, self.value + reach, level)

    def sentence(self, level: float = 0.95) -> str:
        """One sentence for a report; only here are numbers rounded, to two digits of the standard error."""
        unit = f" {self.unit}" if self.unit else ""
        if not self.se > 0:
            shown = show_number(self.value, signed=True)
            return (
                f"{self.quantity}: {shown}{unit} (the differences it rests on do not vary, so no interval and no p can be"
                f" given; n = {self.n}; {self.method})"
            )
        decimals = decimals_for(self.se)
        bounds = self.interval(level)
        low, high = show_number(bounds.low, decimals), show_number(bounds.high, decimals)
        value = show_number(self.value, decimals, signed=True)
        return (
            f"{self.quantity}: {value}{unit} ({show_level(level)} interval {low} to {high};"
            f" n = {self.n}{show_df(self.df)}; {show_p(self.p)}; {self.method})"
        )


def check_level(level: float) -> None:
    """Refuse a confidence level that is not between 0 and 1."""
    if not 0 < level < 1:
        raise Refusal(
            "confidence level", f"{level}", "a number between 0 and 1", "write 0.95 for a 95 % interval"
        )


def decimals_for(se: float) -> int:
    """How many decimals show two digits of a standard error.

    Examples
    --------
    >>> decimals_for(0.0234), decimals_for(1.7), decimals_for(23.4)
    (3, 1, 0)
    """
    return max(0, 1 - math.floor(math.log10(se))) if 0 < se < math.inf else 2


def show_digits(value: float, digits: int = 4, sign: str = "") -> str:
    """Write significant digits; what sums of binary fractions leave of nothing is 0.

    Examples
    --------
    >>> show_digits(0.3 - 0.1 - 0.2), show_digits(1.5e-7), show_digits(12.345, 3, "+")
    ('0', '1.5e-07', '+12.3')
    """
    return "0" if abs(value) < NOTHING else f"{value:{sign}.{digits}g}"


def show_number(value: float, decimals: int | None = None, signed: bool = False) -> str:
    """Write a number for a reader, with a true minus sign; four significant digits unless decimals are given.

    Examples
    --------
    >>> show_number(-0.84, 1), show_number(0.84, 1, signed=True), show_number(-math.inf)
    ('−0.8', '+0.8', '−∞')
    """
    if math.isnan(value):
        return "not known"
    sign = "+" if signed else ""
    text = show_digits(value, sign=sign) if decimals is None else f"{value:{sign}.{decimals}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", MINUS).replace("inf", "∞")


def show_count(count: int, noun: str) -> str:
    """Write a count with its noun, which takes an s unless it is one.

    Examples
    --------
    >>> show_count(1, "rider"), show_count(0, "trial")
    ('1 rider', '0 trials')
    """
    return f"{count} {noun}" + ("" if count == 1 else "s")


def show_p(p: float, against: str = "") -> str:
    """Write a p value for a reader, never as 0; `against` names what it speaks against where it is not plain.

    Examples
    --------
    >>> show_p(0.0274), show_p(2e-9), show_p(0.0069, "zero")
    ('p = 0.027', 'p < 0.0001', 'p against zero = 0.0069')
    """
    name = f"p against {against}" if against else "p"
    if math.isnan(p):
        return f"{name} not known"
    if p < 0.0001:
        return f"{name} < 0.0001"
    return f"{name} = {p:.2g}" if p < 0.1 else f"{name} = {p:.2f}"


def show_level(level: float) -> str:
    """Write a confidence level as a percentage: 0.95 becomes "95 %"."""
    return f"{100 * level:.4g} %"


def show_df(df: float) -> str:
    """Write degrees of freedom behind a count; nothing where there are none.

    >>> show_df(6.0)
    ', df = 6'
    """
    return "" if math.isinf(df) or math.isnan(df) else f", df = {df:.4g}"
