"""Quantiles that every page asks for, by the functions that scipy.stats itself calls, which takes a second to load."""

from __future__ import annotations

from scipy import special


def normal_quantile(probability: float) -> float:
    """Return the value below which a standard normal variable lies with this probability.

    >>> round(normal_quantile(0.975), 3)
    1.96
    """
    return float(special.ndtri(probability))


def t_quantile(probability: float, df: float) -> float:
    """Return the value below which Student's t lies with this probability; NaN without degrees of freedom.

    >>> round(t_quantile(0.975, 10), 3)
    2.228
    """
    return float(special.stdtrit(df, probability))
