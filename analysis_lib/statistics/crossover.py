"""Does the oval ring change the outcome, at each intensity and overall?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics import sensitivity
from analysis_lib.statistics.contrasts import mean_over_sequences, rider_contrasts
from analysis_lib.statistics.effect_remarks import Remark, take_remarks
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import Estimate, check_level
from analysis_lib.statistics.multiplicity import adjust_p
from analysis_lib.statistics.ring_model import ring_mixed_model
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.statistics.trial_table import OVERALL, check_trials, tabulate_estimates, take_logs

__all__ = ["RingEffect", "ring_effect", "ring_mixed_model", "rings_effect"]


@dataclass(frozen=True, eq=False)
class RingEffect:
    """Oval − round at each intensity and overall, with everything needed to redo it.

    Parameters
    ----------
    value, unit : str
        Name of the outcome column and unit of the estimates.
    scale : {"linear", "log"}
        On the log scale every estimate is a mean difference of natural logarithms; `ratios()` turns it back.
    level : float
        Confidence level of `to_frame`.
    estimates : dict
        Estimate by intensity, in their order, then "overall".
    contrasts : DataFrame
        rider, sequence, intensity, contrast, periods_round, periods_oval.
    left_out : DataFrame
        rider, intensity, reason.
    remarks : tuple of Remark
        What a reader must know: period effects that do not cancel, a lost sequence.
    resolution : float
        Rounding error of a contrast, below which values count as not varying.
    """

    value: str
    unit: str
    scale: str
    level: float
    estimates: dict[object, Estimate]
    contrasts: pd.DataFrame
    left_out: pd.DataFrame
    remarks: tuple[Remark, ...]
    resolution: float

    @property
    def notes(self) -> tuple[str, ...]:
        """The remarks in words."""
        return tuple(remark.sentence() for remark in self.remarks)

    @property
    def overall(self) -> Estimate:
        """The mean over intensities."""
        return self.estimates[OVERALL]

    @property
    def intensities(self) -> list:
        """The intensities in their order, without "overall"."""
        return [name for name in self.estimates if name != OVERALL]

    @property
    def method(self) -> str:
        """How the overall estimate was made, in words."""
        return self.overall.method

    def at(self, intensity: object) -> Estimate:
        """Return the estimate at one intensity, or "overall"."""
        if intensity not in self.estimates:
            known = ", ".join(map(str, self.estimates))
            raise Refusal("intensity", repr(intensity), f"one of {known}", "use a label of the table")
        return self.estimates[intensity]

    def to_frame(self) -> pd.DataFrame:
        """One row an intensity and one "overall": intensity, estimate, se, df, t, p, low, high, n."""
        return tabulate_estimates(self.estimates, self.level)

    def ratios(self) -> pd.DataFrame:
        """Oval over round as a ratio with its interval; only for an effect on the log scale."""
        if self.scale != "log":
            raise Refusal(
                "ratio of rings", "an effect on the linear scale", "scale='log'", "analyse on that scale"
            )
        frame = self.to_frame()
        return pd.DataFrame(
            {
                "intensity": frame["intensity"],
                "ratio": np.exp(frame["estimate"]),
                "low": np.exp(frame["low"]),
                "high": np.exp(frame["high"]),
                "p": frame["p"],
                "n": frame["n"],
            }
        )

    def holm(self) -> pd.DataFrame:
        """p at each intensity beside p adjusted (Holm 1979) for having looked at all intensities."""
        p = [self.estimates[intensity].p for intensity in self.intensities]
        return pd.DataFrame({"intensity": self.intensities, "p": p, "p_holm": adjust_p(p)})

    def verdicts(self, smallest_effect: float, alpha: float = 0.05) -> pd.DataFrame:
        """Difference, equivalent or undecided at each intensity and overall, see `equivalence.judge`.

        Columns intensity, estimate, low90, high90 (the 1 − 2 alpha interval), verdict. On the log scale the
        smallest effect is a ratio above 1: 1.02 means 2 % either way, bounds 1/1.02 to 1.02.
        """
        margin = math.log(smallest_effect) if self.scale == "log" and smallest_effect > 0 else smallest_effect
        percent = f"{100 * (1 - 2 * alpha):g}"
        rows = []
        for intensity, estimate in self.estimates.items():
            verdict = judge(estimate, margin, alpha)
            bounds = verdict.test.interval()
            rows.append((intensity, estimate.value, bounds.low, bounds.high, verdict.word))
        columns = ["intensity", "estimate", f"low{percent}", f"high{percent}", "verdict"]
        return pd.DataFrame(rows, columns=columns)

    def trend(self, scores: Sequence[float] | None = None) -> Estimate:
        """How the effect changes with intensity, see `sensitivity.trend`."""
        return sensitivity.trend(self.contrasts, self.intensities, scores, self.unit, self.resolution)

    def interaction(self) -> sensitivity.JointTest:
        """Test that the effect is the same at all intensities, see `sensitivity.interaction`."""
        return sensitivity.interaction(self.contrasts, self.intensities, self.resolution)

    def leave_one_out(self) -> pd.DataFrame:
        """The same estimates without each rider in turn, see `sensitivity.leave_one_out`."""
        return sensitivity.leave_one_out(self.contrasts, self.level, self.resolution)

    def sentence(self) -> str:
        """The overall estimate in one sentence."""
        return self.overall.sentence(self.level)


def ring_effect(
    table: pd.DataFrame, value: str, level: float = 0.95, scale: str = "linear", unit: str = ""
) -> RingEffect:
    """Estimate oval − round from a randomised crossover, within riders and adjusted for sequence.

    Each rider gives one contrast an intensity: the mean of the oval periods − the mean of the round periods.
    The estimate is the unweighted mean of the sequence means of these contrasts, t with n − (number of
    sequences) degrees of freedom; "overall" does the same with the plain mean of a rider's contrasts at all
    intensities, which a period that lacks one intensity still enters by the others (`contrasts.OVERALL_RULE`). With
    sequences that mirror one another period effects cancel exactly; `notes` says where they do not. With one
    sequence it is the one-sample t, and period effects cannot be told from the ring.

    Parameters
    ----------
    table : DataFrame
        One row a trial: rider, sequence, period, ring ("round" or "oval"), intensity and the value column;
        see `trial_table.check_trials` for what is refused.
    value : str
        Name of the outcome column.
    level : float
        Confidence level of the intervals in the frame.
    scale : {"linear", "log"}
        "log" contrasts natural logarithms, for outcomes whose differences grow with their size.
    unit : str
        Unit of the outcome, for sentences.

    Returns
    -------
    RingEffect
        Riders without a value on both rings are left out there and listed in `left_out`.

    Raises
    ------
    Refusal
        Also when an intensity keeps fewer riders than sequences + 1, or a value is not positive on the log
        scale.

    References
    ----------
    Senn, Cross-over Trials in Clinical Research, 2nd ed. 2002, ch. 3. Jones & Kenward, Design and Analysis of
    Cross-Over Trials, 3rd ed. 2014, sec. 2.

    Examples
    --------
    Contrasts 2 and 4 in the sequence round-oval, 1 and 3 in oval-round: means 3 and 2, estimate 2.5 on 2 df.

    >>> rows = [("A", "RO", 100, 102), ("B", "RO", 100, 104), ("C", "OR", 101, 100), ("D", "OR", 103, 100)]
    >>> table = pd.DataFrame(
    ...     [(rider, order, period + 1, {"R": "round", "O": "oval"}[order[period]], "200 W", power[period])
    ...      for rider, order, *power in rows for period in (0, 1)],
    ...     columns=["rider", "sequence", "period", "ring", "intensity", "power_W"])
    >>> effect = ring_effect(table, "power_W").overall
    >>> effect.value, effect.df
    (2.5, 2)
    """
    check_level(level)
    trials = _rescale(check_trials(table, value), value, scale)
    contrasts, left_out = rider_contrasts(trials)
    resolution = 16 * np.finfo(float).eps * float(trials["value"].abs().max())
    shown_unit = unit if scale == "linear" else "log ratio"
    estimates: dict[object, Estimate] = {}
    for intensity in (*trials["intensity"].cat.categories, OVERALL):
        here = contrasts[contrasts["intensity"] == intensity]
        _check_any(here, value, intensity)
        quantity = f"{value}, oval − round, {intensity}"
        estimates[intensity] = mean_over_sequences(
            here["contrast"], here["sequence"], quantity, shown_unit, resolution
        )
    remarks = take_remarks(trials, estimates, contrasts)
    return RingEffect(value, shown_unit, scale, level, estimates, contrasts, left_out, remarks, resolution)


def _check_any(here: pd.DataFrame, value: str, intensity: object) -> None:
    if here.empty:
        raise Refusal(
            f"{value}, oval − round, {intensity}",
            "no rider with a value on both rings",
            "two riders or more",
            "leave this intensity out of the table, or out of this outcome's intensities",
        )


def _rescale(trials: pd.DataFrame, value: str, scale: str) -> pd.DataFrame:
    if scale not in ("linear", "log"):
        raise Refusal("scale", repr(scale), "'linear' or 'log'", "choose one of these")
    return take_logs(trials, value) if scale == "log" else trials
