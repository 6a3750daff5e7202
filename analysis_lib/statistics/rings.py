"""Does any of several rings differ from the round one?"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.denominator_df import FTest
from analysis_lib.statistics.estimates import Estimate, check_level
from analysis_lib.statistics.many_to_one import equal_chance_inside
from analysis_lib.statistics.rider_least_squares import fit_columns, indicate, indicate_periods
from analysis_lib.statistics.trial_table import OVERALL, check_trials, split_intensities

SAME = 1e-9
"""Correlations no farther apart than this are one: those of a complete design differ by rounding alone."""
COLUMNS = ["intensity", "ring", "estimate", "se", "df", "t", "p", "p_family", "low", "high", "n"]


@dataclass(frozen=True, eq=False)
class RingsEffect:
    """Every ring − the reference ring, with intervals that hold for all rings at once.

    `families` keeps, by intensity, the estimates by ring and the correlation of their errors; `trials` the checked
    trials that they rest on.
    """

    value: str
    reference: str
    level: float
    families: dict[object, tuple[dict[str, Estimate], NDArray[np.float64]]]
    trials: pd.DataFrame = field(repr=False)
    unit: str = ""

    @property
    def rings(self) -> list[str]:
        """The rings that are compared with the reference."""
        return list(next(iter(self.families.values()))[0])

    @property
    def overall(self) -> dict[str, Estimate]:
        """Each ring − the reference, mean over intensities."""
        return self.families[OVERALL][0]

    @property
    def method(self) -> str:
        """How it was made, in words."""
        return (
            "rider + period + ring least squares; intervals and adjusted p simultaneous over the rings at one"
            f" intensity, by the multivariate t distribution (Dunnett) against {self.reference}"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity and ring; p_family, low and high hold for all rings together."""
        return self._frame.copy()

    @cached_property
    def _frame(self) -> pd.DataFrame:
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

    def omnibus(self) -> dict[object, FTest]:
        """Test at each intensity that no ring differs from any other, by F = t' R⁻¹ t / k.

        t holds the k contrasts over their standard errors and R their correlation; they share one residual
        variance, so this is the F test of rings of the least squares fit, on k and its residual df. NaN where
        the values do not vary.
        """
        return {name: _test_rings(*family) for name, family in self.families.items()}

    def between(self) -> dict[object, dict[tuple[str, str], Estimate]]:
        """Every two of the compared rings against each other, second − first: not against the reference."""
        return {name: self._between(name, *family) for name, family in self.families.items()}

    def _between(
        self, intensity: object, estimates: dict[str, Estimate], correlation: NDArray[np.float64]
    ) -> dict[tuple[str, str], Estimate]:
        pairs = {}
        for (i, first), (j, second) in combinations(enumerate(self.rings), 2):
            a, b = estimates[first], estimates[second]
            variance = a.se**2 + b.se**2 - 2 * correlation[i, j] * a.se * b.se
            quantity = f"{self.value}, {intensity}, {second} − {first}"
            se = math.sqrt(max(variance, 0.0))
            pairs[first, second] = replace(a, quantity=quantity, value=b.value - a.value, se=se)
        return pairs

    def verdicts(self, smallest_effect: float, alpha: float = 0.05) -> pd.DataFrame:
        """Say at each intensity for each ring: difference, equivalent or undecided, all rings allowed for.

        difference: the simultaneous 1 − alpha interval excludes 0. equivalent (goes first): the 1 − 2 alpha/k
        interval of each of k rings lies inside ±smallest_effect, which is both one-sided tests at alpha/k; so
        the chance of calling any ring equivalent that is not stays below alpha, however the rings are correlated.

        Returns
        -------
        DataFrame
            intensity, ring, low_equivalence, high_equivalence, verdict.
        """
        frame = (self if self.level == 1 - alpha else replace(self, level=1 - alpha)).to_frame()
        intervals = zip(frame["low"], frame["high"], strict=True)
        rows = []
        for intensity, (estimates, _) in self.families.items():
            for ring, e in estimates.items():
                inner = e.interval(1 - 2 * alpha / len(estimates))
                low, high = next(intervals)
                inside = -smallest_effect < inner.low and inner.high < smallest_effect
                word = "equivalent" if inside else "difference" if low > 0 or high < 0 else "undecided"
                rows.append((intensity, ring, inner.low, inner.high, word))
        columns = ["intensity", "ring", "low_equivalence", "high_equivalence", "verdict"]
        return pd.DataFrame(rows, columns=columns)


def rings_effect(
    table: pd.DataFrame,
    value: str,
    rings: tuple[str, ...],
    reference: str = "round",
    level: float = 0.95,
    unit: str = "",
) -> RingsEffect:
    """Contrast several rings with the reference in a crossover in which each rider rides each ring once.

    At each intensity, value = rider + period + ring + residual, all fixed, by least squares; "overall" takes
    the mean over all intensities of a rider's period. For a Williams design this is its standard analysis.

    Parameters
    ----------
    table, value, level, unit
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
        intensity: fit_family(here.dropna(subset=["value"]), others, f"{value}, {intensity}", reference, unit)
        for intensity, here in split_intensities(trials)
    }
    return RingsEffect(value, reference, level, families, trials, unit)


def _test_rings(estimates: dict[str, Estimate], correlation: NDArray[np.float64]) -> FTest:
    t = np.array([e.t for e in estimates.values()])
    df = next(iter(estimates.values())).df
    f = float(t @ np.linalg.solve(correlation, t)) / len(t) if np.isfinite(t).all() else math.nan
    return FTest(f, len(t), df, "F test of rings, rider + period + ring least squares")


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
    pairs = correlation[np.triu_indices(len(correlation), 1)]
    if np.ptp(pairs) < SAME and 0 <= pairs[0] < 1 - SAME:
        return equal_chance_inside(c, len(correlation), df, float(pairs.mean()))
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


def fit_family(
    seen: pd.DataFrame, others: list[str], quantity: str, reference: str, unit: str
) -> tuple[dict[str, Estimate], NDArray[np.float64]]:
    """Contrast the other rings with the reference on the trials seen at one intensity; see `RingsEffect.families`."""
    columns = {name: indicate(seen["ring"], name) for name in others}
    names = {name: f"{quantity}, {name} − {reference}" for name in others}
    return fit_columns(seen, columns, indicate_periods(seen), names, unit)
