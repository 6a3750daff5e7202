"""Delta efficiency: what more mechanical power costs in more metabolic power, whatever rest costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval, check_level, show_level, show_number
from analysis_lib.statistics.quantiles import t_quantile


@dataclass(frozen=True)
class DeltaEfficiency:
    """Extra mechanical power over the extra metabolic power that it costs.

    Attributes
    ----------
    value : float
        %, 100/slope.
    slope, slope_se : float
        Metabolic power on mechanical power, W/W; the standard error is NaN for two intensities.
    n, df : int
        Intensities, and n − 2.
    """

    value: float
    slope: float
    slope_se: float
    n: int
    df: int
    unit: str = "%"
    method: str = "reciprocal slope of metabolic power on mechanical power, least squares"

    def interval(self, level: float = 0.95) -> Interval:
        """Interval of 100/slope from the t interval of the slope; not known for two intensities.

        Where the slope's interval reaches 0 the efficiency has no upper end.
        """
        check_level(level)
        if not self.slope_se > 0:
            return Interval(math.nan, math.nan, level)
        reach = t_quantile((1 + level) / 2, self.df) * self.slope_se
        high = 100 / (self.slope - reach) if self.slope > reach else math.inf
        return Interval(100 / (self.slope + reach), high, level)

    def sentence(self, level: float = 0.95) -> str:
        """The efficiency with its interval, where three intensities or more give one."""
        bounds = self.interval(level)
        known = (
            f"{show_level(level)} interval {show_number(bounds.low, 1)} to {show_number(bounds.high, 1)}"
            if self.df
            else "two intensities give no interval"
        )
        return f"Delta efficiency {show_number(self.value, 1)} % ({known}; n = {self.n} intensities; {self.method})"


def delta_efficiency(power_W: Sequence[float], metabolic_W: Sequence[float]) -> DeltaEfficiency:
    """Delta efficiency from one rider's intensities on one ring: 100/slope of metabolic on mechanical power.

    The mechanical power is the better known of the two, so it stands on the right of the regression (Gaesser &
    Brooks 1975, J Appl Physiol 38:1132, for the measure).

    Parameters
    ----------
    power_W, metabolic_W : array (intensities,)

    Raises
    ------
    Refusal
        Arrays of different length, fewer than two different powers, or a metabolic power that does not rise.

    Examples
    --------
    50 W more cost 200 W more:

    >>> delta_efficiency([100, 150, 200], [600, 800, 1000]).value
    25.0
    """
    power, metabolic = np.asarray(power_W, dtype=float), np.asarray(metabolic_W, dtype=float)
    if power.shape != metabolic.shape or power.ndim != 1 or np.unique(power).size < 2:
        got = f"{power.size} and {metabolic.size} values"
        raise Refusal(
            "powers for delta efficiency",
            got,
            "pairs at two different powers or more",
            "ride two intensities",
        )
    spread = power - power.mean()
    slope = float(spread @ metabolic / (spread @ spread))
    if not slope > 0:
        got = f"{slope:.3g} W/W"
        raise Refusal(
            "slope of metabolic power", got, "above 0", "check power and gas exchange of the trials"
        )
    df = power.size - 2
    rest = metabolic - metabolic.mean() - slope * spread
    se = math.sqrt(rest @ rest / df / (spread @ spread)) if df else math.nan
    return DeltaEfficiency(100 / slope, slope, se, power.size, df)
