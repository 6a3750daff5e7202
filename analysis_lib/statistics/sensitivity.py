"""Would the ring effect read differently without one rider, or from one intensity to the next?

Read beside the primary estimate; none of these decides whether that estimate is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.contrasts import mean_over_sequences
from analysis_lib.statistics.estimates import Estimate, show_p
from analysis_lib.statistics.trial_table import OVERALL


@dataclass(frozen=True)
class JointTest:
    """An F test of several contrasts at once."""

    question: str
    f: float
    df_numerator: float
    df_denominator: float
    p: float
    n: int
    method: str

    def sentence(self) -> str:
        """The test in one sentence."""
        degrees = f"{self.df_numerator:g}, {self.df_denominator:g}"
        return f"{self.question}: F({degrees}) = {self.f:.3g}, {show_p(self.p)} (n = {self.n}; {self.method})"


def trend(
    contrasts: pd.DataFrame,
    intensities: Sequence,
    scores: Sequence[float] | None = None,
    unit: str = "",
    resolution: float = 0.0,
) -> Estimate:
    """Estimate how the ring effect changes with intensity, as a mean of the riders' own slopes.

    Each rider's slope is Σ (x − x̄) d / Σ (x − x̄)², d the contrast at an intensity and x its score; slopes
    are averaged over sequences like the effect itself.

    Parameters
    ----------
    contrasts : DataFrame
        As `contrasts.rider_contrasts` returns it; riders who lack an intensity are left out, as in "overall".
    intensities : sequence
        Labels in order.
    scores : sequence of float, optional
        One number an intensity, in watts say. Without it numeric labels count as their own scores, and other
        labels as steps 0, 1, 2.
    unit : str
        Unit of the contrasts.

    Raises
    ------
    Refusal
        One intensity alone, or scores that are not one finite number an intensity or do not differ.

    Examples
    --------
    Contrasts 1, 2 and 3 at 100, 200 and 300 W: slope (3 − 1)/200 = 0.01 per watt.
    """
    x, per = read_scores(intensities, scores)
    wide = _complete_riders(contrasts, intensities)
    centred = x - x.mean()
    slopes = wide[list(intensities)].to_numpy() @ centred / (centred @ centred)
    steepness = resolution / float(np.abs(centred).max())
    quantity = f"change of oval − round per {per}"
    return mean_over_sequences(slopes, wide["sequence"], quantity, f"{unit} per {per}".strip(), steepness)


def interaction(contrasts: pd.DataFrame, intensities: Sequence, resolution: float = 0.0) -> JointTest:
    """Test that the ring effect is the same at every intensity, by Hotelling's T² within sequences.

    T² = m' (c S)⁻¹ m, with m the unweighted mean over the k sequences of the p = (intensities − 1) successive
    differences of a rider's contrasts, S their covariance within sequences on ν = n − k degrees of freedom
    and c = Σ (1/n_s)/k². F = T² (ν − p + 1)/(ν p) on p and ν − p + 1 degrees of freedom. Nothing is assumed
    about how the intensities correlate. Differences whose standard deviation is no larger than `resolution`, the
    rounding error of a contrast, count as not varying.

    Raises
    ------
    Refusal
        One intensity alone, too few complete riders, or differences that do not vary.

    References
    ----------
    Hotelling, Ann Math Stat 1931;2:360.
    """
    if len(intensities) < 2:
        raise Refusal(
            "ring × intensity interaction",
            "one intensity",
            "at least two",
            "the effect at one intensity is the answer",
        )
    wide = _complete_riders(contrasts, intensities)
    steps = np.diff(wide[list(intensities)].to_numpy(), axis=1)
    p, n = steps.shape[1], len(steps)
    mean, covariance, c, freedom = _sequence_moments(steps, wide["sequence"].to_numpy())
    if freedom - p + 1 < 1:
        raise Refusal(
            "ring × intensity interaction",
            f"{n} complete riders",
            f"at least {n + p - freedom} for {p + 1} intensities",
            "use the trend over intensity, which needs fewer riders",
        )
    spread = np.sqrt(np.diag(covariance))
    if (spread <= resolution).any() or np.linalg.matrix_rank(covariance / np.outer(spread, spread)) < p:
        alike = np.abs(steps).max() <= resolution
        raise Refusal(
            "ring × intensity interaction",
            "the same ring effect at every intensity in each rider"
            if alike
            else "differences between intensities that do not vary on their own",
            "ring effects that vary from one intensity to another",
            "nothing, if they were measured so; else look for values that were copied from one intensity to another",
        )
    t_squared = float(mean @ np.linalg.solve(c * covariance, mean))
    f = t_squared * (freedom - p + 1) / (freedom * p)
    tail = float(scipy.stats.f.sf(f, p, freedom - p + 1))
    method = "Hotelling's T² of the riders' differences between intensities, within sequences"
    return JointTest("Ring × intensity", f, p, freedom - p + 1, tail, n, method)


def leave_one_out(contrasts: pd.DataFrame, level: float = 0.95, resolution: float = 0.0) -> pd.DataFrame:
    """Repeat the estimate at each intensity and overall without each rider in turn.

    Returns
    -------
    DataFrame
        rider (the one left out), intensity, estimate, se, df, t, p, low, high, n, note. The note says when a
        sequence is lost with the rider, or when too few riders are left; the numbers are then NaN.
    """
    rows = []
    for intensity, here in contrasts.groupby("intensity", sort=False):
        for rider in here["rider"]:
            rest = here[here["rider"] != rider]
            rows.append(
                {"rider": rider, "intensity": intensity} | _estimate_rest(here, rest, level, resolution)
            )
    return pd.DataFrame(rows)


def _estimate_rest(here: pd.DataFrame, rest: pd.DataFrame, level: float, resolution: float) -> dict:
    lost = set(here["sequence"]) - set(rest["sequence"])
    note = f"sequence {lost.pop()} is lost with this rider" if lost else ""
    columns = ("estimate", "se", "df", "t", "p", "low", "high")
    if len(rest) < 2 or len(rest) <= rest["sequence"].nunique():
        return dict.fromkeys(columns, np.nan) | {"n": len(rest), "note": "too few riders are left"}
    e = mean_over_sequences(rest["contrast"], rest["sequence"], "oval − round", "", resolution)
    bounds = e.interval(level)
    values = (e.value, e.se, e.df, e.t, e.p, bounds.low, bounds.high)
    return dict(zip(columns, values, strict=True)) | {"n": e.n, "note": note}


def _complete_riders(contrasts: pd.DataFrame, intensities: Sequence) -> pd.DataFrame:
    complete = contrasts.loc[contrasts["intensity"] == OVERALL, "rider"]
    there = contrasts[contrasts["rider"].isin(complete) & (contrasts["intensity"] != OVERALL)]
    return there.pivot_table(
        index=["rider", "sequence"], columns="intensity", values="contrast", aggfunc="first", sort=False
    )[list(intensities)].reset_index("sequence")


def read_scores(intensities: Sequence, scores: Sequence[float] | None) -> tuple[NDArray[np.float64], str]:
    """Return a number for each intensity, and what one of it is called; refuses as `trend` does."""
    if len(intensities) < 2:
        raise Refusal("trend over intensity", "one intensity", "at least two", "report the effect at it")
    if scores is None:
        own = all(isinstance(label, Real) for label in intensities)
        return np.asarray(intensities if own else range(len(intensities)), float), (
            "unit of intensity" if own else "step of intensity"
        )
    x = np.asarray(scores, dtype=float)
    if x.shape != (len(intensities),) or not np.isfinite(x).all() or np.ptp(x) == 0:
        raise Refusal(
            "scores of the intensities",
            f"{list(scores)}",
            f"{len(intensities)} finite numbers that differ",
            f"give one number each for {', '.join(map(str, intensities))}",
        )
    return x, "unit of intensity"


def _sequence_moments(values: NDArray, sequences: NDArray) -> tuple[NDArray, NDArray, float, int]:
    """Mean of sequence means, covariance within sequences, c = Σ (1/n_s)/k², and degrees of freedom."""
    groups = [values[sequences == name] for name in pd.unique(sequences)]
    k, freedom = len(groups), len(values) - len(groups)
    mean = np.mean([group.mean(axis=0) for group in groups], axis=0)
    inside = sum((group - group.mean(axis=0)).T @ (group - group.mean(axis=0)) for group in groups)
    return (
        mean,
        np.atleast_2d(inside / max(freedom, 1)),
        sum(1 / len(group) for group in groups) / k**2,
        freedom,
    )
