"""How well is a standard error known itself?"""

from __future__ import annotations

import math

import scipy  # its parts are loaded when first asked for

from analysis_lib.statistics.estimates import Estimate, Interval, check_level


def se_interval(estimate: Estimate, level: float = 0.95) -> Interval:
    """Interval for the true standard error of an estimate whose variance was estimated on `df` degrees of freedom.

    se √(df/χ²) at both tails of χ² with df degrees of freedom, for normally distributed values.

    Examples
    --------
    χ² with 10 degrees of freedom has 3.247 and 20.483 as its 2.5 % and 97.5 % points (any table of χ²):

    >>> bounds = se_interval(Estimate("Power, oval − round", 1.2, 1.0, 10, "W", 12, "paired t"))
    >>> round(bounds.low, 3), round(bounds.high, 3)
    (0.699, 1.755)
    """
    check_level(level)
    tail = (1 - level) / 2
    high, low = (
        estimate.se * math.sqrt(estimate.df / float(scipy.stats.chi2.ppf(point, estimate.df)))
        for point in (tail, 1 - tail)
    )
    return Interval(low, high, level)
