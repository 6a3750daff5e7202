"""Does any of several rings differ from the round one?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.denominator_df import FTest
from analysis_lib.statistics.estimates import Estimate, check_level
from analysis_lib.statistics.many_to_one import chance_inside, critical_t
from analysis_lib.statistics.multiplicity import adjust_p
from analysis_lib.statistics.rider_least_squares import fit_family, who_counts
from analysis_lib.statistics.rings_intensity import fit_trends, ring_by_intensity
from analysis_lib.statistics.sensitivity import JointTest
from analysis_lib.statistics.trial_table import OVERALL, check_trials, split_intensities, take_logs

TREND = "trend"
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
    scale: str = "linear"

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
        fit = next(iter(self.overall.values())).method
        return (
            f"{fit}; intervals and adjusted p simultaneous over the rings at one"
            f" intensity, by the multivariate t distribution (Dunnett) against {self.reference}"
        )

    @property
    def is_repeated(self) -> bool:
        """Whether some rider has values of a ring from several periods."""
        seen = self.trials.dropna(subset=["value"])
        return bool(seen.duplicated(["rider", "ring", "intensity"]).any())

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
                family = max(1 - chance_inside(abs(e.t), correlation, df), e.p) if e.se > 0 else math.nan
                reach = critical * e.se if e.se > 0 else math.nan
                low, high = e.value - reach, e.value + reach
                rows.append((intensity, ring, e.value, e.se, e.df, e.t, e.p, family, low, high, e.n))
        return pd.DataFrame(rows, columns=COLUMNS)

    def ratios(self) -> pd.DataFrame:
        """Ring over reference as a ratio with its simultaneous interval; only for an effect on the log scale."""
        if self.scale != "log":
            raise Refusal(
                "ratio of rings", "an effect on the linear scale", "scale='log'", "analyse on that scale"
            )
        frame = self.to_frame()
        names = {"estimate": "ratio", "low": "low", "high": "high"}
        bounds = {new: np.exp(frame[old]) for old, new in names.items()}
        return frame[["intensity", "ring"]].assign(
            **bounds, p=frame["p"], p_family=frame["p_family"], n=frame["n"]
        )

    def holm(self) -> pd.DataFrame:
        """p of each ring at each single intensity beside p adjusted (Holm 1979) for having looked at all of them."""
        frame = self._frame[self._frame["intensity"] != OVERALL]
        return frame[["intensity", "ring", "p"]].assign(p_holm=adjust_p(frame["p"])).reset_index(drop=True)

    def trend(self, scores: Sequence[float] | None = None) -> RingsEffect:
        """How each ring − the reference changes with intensity, see `rings_intensity.fit_trends`.

        Returns
        -------
        RingsEffect
            With "trend" as its only intensity; its intervals hold for all rings at once.
        """
        family = fit_trends(self.trials, self.rings, self.value, self.reference, self.unit, scores)
        return replace(self, families={TREND: family}, unit=next(iter(family[0].values())).unit)

    def interaction(self) -> dict[str, JointTest]:
        """Test that rings differ by the same at every intensity, see `rings_intensity.ring_by_intensity`."""
        return ring_by_intensity(self.trials, self.rings, self.reference)

    def riders(self) -> pd.DataFrame:
        """Say who is in each estimate and who is not, see `rider_least_squares.who_counts`."""
        return who_counts(self.trials, [self.reference, *self.rings])

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
        On the log scale the smallest effect is a ratio above 1: 1.02 means 2 % either way.

        Returns
        -------
        DataFrame
            intensity, ring, low_equivalence, high_equivalence, verdict.
        """
        margin = math.log(smallest_effect) if self.scale == "log" and smallest_effect > 0 else smallest_effect
        if not margin > 0:
            wanted = "a ratio above 1" if self.scale == "log" else "a positive number"
            raise Refusal(
                "smallest effect that matters", f"{smallest_effect}", wanted, "state it in study.toml"
            )
        frame = (self if self.level == 1 - alpha else replace(self, level=1 - alpha)).to_frame()
        intervals = zip(frame["low"], frame["high"], strict=True)
        rows = []
        for intensity, (estimates, _) in self.families.items():
            for ring, e in estimates.items():
                inner = e.interval(1 - 2 * alpha / len(estimates))
                low, high = next(intervals)
                inside = -margin < inner.low and inner.high < margin
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
    scale: str = "linear",
) -> RingsEffect:
    """Contrast several rings with the reference in a crossover, within riders.

    At each intensity, value = rider + period + ring + residual, all fixed, by least squares; "overall" takes
    the mean over all intensities of a rider's period. For a Williams design this is its standard analysis.

    Where riders ride a ring in several periods, each rider's mean on each ring takes the place of a value, and a
    period counts with its share in it. So the residual holds both how riders differ in their response and the
    error of a mean, as it must when the rings are judged for riders at large; repeats taken for independent
    trials would make intervals too narrow. Riders with different numbers of periods on the rings are weighted
    alike. With two rings in mirrored sequences and nothing missing it is `crossover.ring_effect`.

    Parameters
    ----------
    table, value, level, unit
        As for `crossover.ring_effect`, with other ring names.
    rings : tuple of str
        All ring names, the reference among them.
    reference : str
        The ring to compare with.
    scale : {"linear", "log"}
        "log" contrasts natural logarithms, see `RingsEffect.ratios`.

    Raises
    ------
    Refusal
        As `trial_table.check_trials`; also rings that cannot be told from periods, and on the log scale a value
        that is not positive.

    References
    ----------
    Dunnett, J Am Stat Assoc 1955;50:1096. Jones & Kenward 2014, sec. 4.
    """
    check_level(level)
    if reference not in rings or len(rings) < 2:
        raise Refusal("rings", f"{rings}", f"two or more names, {reference} among them", "list every ring")
    if scale not in ("linear", "log"):
        raise Refusal("scale", repr(scale), "'linear' or 'log'", "choose one of these")
    trials = check_trials(table, value, tuple(rings))
    trials = take_logs(trials, value) if scale == "log" else trials
    shown_unit = unit if scale == "linear" else "log ratio"
    others = [ring for ring in rings if ring != reference]
    families = {
        intensity: fit_family(
            here.dropna(subset=["value"]), others, f"{value}, {intensity}", reference, shown_unit
        )
        for intensity, here in split_intensities(trials)
    }
    return RingsEffect(value, reference, level, families, trials, shown_unit, scale)


def _test_rings(estimates: dict[str, Estimate], correlation: NDArray[np.float64]) -> FTest:
    t = np.array([e.t for e in estimates.values()])
    df = next(iter(estimates.values())).df
    f = float(t @ np.linalg.solve(correlation, t)) / len(t) if np.isfinite(t).all() else math.nan
    return FTest(f, len(t), df, "F test of rings, rider + period + ring least squares")
