"""How much do single differences between two methods vary, when subjects gave one pair or several?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal

Array = NDArray[np.floating]
TrueValue = Literal["varying", "constant"]
Scale = Literal["difference", "ratio"]

# Bland and Altman's limits hold 95 % of differences; they write 1.96, not 1.959964.
REACH = 1.96


@dataclass(frozen=True)
class Spread:
    """Bias, its variance, and the variance of single differences as a weighted sum of mean squares.

    Attributes
    ----------
    bias, bias_variance : float
        Mean difference and the square of its standard error.
    weights, mean_squares, df : array (parts,)
        The variance of single differences is Σ weight · mean square, each mean square on its own df.
    parts : dict of str to float
        The same variance in parts that a reader can interpret.
    method, note : str
    """

    bias: float
    bias_variance: float
    weights: Array
    mean_squares: Array
    df: Array
    parts: dict[str, float]
    method: str
    note: str = ""

    @property
    def variance(self) -> float:
        """Variance of the difference between two single measurements."""
        return float(self.weights @ self.mean_squares)

    def symmetric_reach(self, level: float, subjects: int) -> tuple[float, float]:
        """How far a limit's interval goes inward and outward, by the delta method with Var(MS) = 2 MS²/df."""
        of_variance = 2 * (self.weights * self.mean_squares) ** 2 / self.df
        variance = self.bias_variance + REACH**2 * float(of_variance.sum()) / (4 * self.variance)
        reach = float(scipy.stats.t.ppf((1 + level) / 2, subjects - 1)) * variance**0.5
        return reach, reach

    def skewed_reach(self, level: float, subjects: int) -> tuple[float, float]:
        """The same from chi-square intervals of the mean squares, distances added in squares (Zou 2013)."""
        terms, tail = self.weights * self.mean_squares, (1 - level) / 2
        inward = terms * (1 - self.df / scipy.stats.chi2.isf(tail, self.df))
        outward = terms * (self.df / scipy.stats.chi2.ppf(tail, self.df) - 1)
        least = max(self.variance - float(np.linalg.norm(inward)), 0.0) ** 0.5
        most = (self.variance + float(np.linalg.norm(outward))) ** 0.5
        of_bias = float(scipy.stats.t.ppf((1 + level) / 2, subjects - 1)) * self.bias_variance**0.5
        sd = self.variance**0.5
        return float(np.hypot(of_bias, REACH * (sd - least))), float(np.hypot(of_bias, REACH * (most - sd)))


def check_word(name: str, word: str, allowed: tuple[str, ...]) -> None:
    """Refuse an argument that is not one of the words it may be."""
    if word not in allowed:
        raise Refusal(name, f"{word!r}", " or ".join(map(repr, allowed)), "choose one of these")


def read_pairs(a: ArrayLike, b: ArrayLike, subject: ArrayLike | None, scale: Scale) -> pd.DataFrame:
    """Pairs as a frame subject, a, b, d = a − b, in logarithms for ratios; refuses as `bland_altman` says."""
    first, second = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    if first.ndim != 1 or first.shape != second.shape:
        raise Refusal(
            "a and b", f"shapes {first.shape} and {second.shape}", "one length", "pair them up first"
        )
    labels = np.arange(len(first)) if subject is None else np.asarray(subject, dtype=object)
    if labels.shape != first.shape:
        raise Refusal("subject", f"{len(labels)} labels", f"{len(first)}, as a has", "label every pair")
    codes = pd.factorize(labels)[0]
    if (codes < 0).any():
        raise Refusal(f"subject, pair {np.argmin(codes) + 1}", "no label", "a label", "fill it in or drop it")
    check_word("scale", scale, ("difference", "ratio"))
    bad = ~np.isfinite(first + second)
    if scale == "ratio":
        bad |= (first <= 0) | (second <= 0)
    if bad.any():
        at = int(np.argmax(bad))
        wanted = "positive numbers" if scale == "ratio" else "finite numbers"
        raise Refusal(
            f"pair {at + 1}", f"{first[at]} and {second[at]}", wanted, "drop incomplete pairs first"
        )
    if codes.max(initial=-1) < 2:
        raise Refusal(
            "a and b", f"{codes.max(initial=-1) + 1} subjects", "three or more", "measure more subjects"
        )
    if scale == "ratio":
        first, second = np.log(first), np.log(second)
    return pd.DataFrame({"subject": codes, "a": first, "b": second, "d": first - second})


def find_spread(pairs: pd.DataFrame, repeated: bool, true_value: TrueValue) -> Spread:
    """Spread of single differences as the pairs were taken; formulas stand with `bland_altman`."""
    check_word("true_value", true_value, ("varying", "constant"))
    if not repeated:
        return _single_pairs(pairs)
    if pairs.subject.is_unique:
        raise Refusal("subject", "one pair each", "subjects with several pairs", "leave `subject` out")
    return _linked_pairs(pairs) if true_value == "varying" else _constant_truth(pairs)


def _single_pairs(pairs: pd.DataFrame) -> Spread:
    n, variance = len(pairs), float(pairs.d.var())
    return Spread(
        bias=float(pairs.d.mean()),
        bias_variance=variance / n,
        weights=np.ones(1),
        mean_squares=np.array([variance]),
        df=np.array([n - 1]),
        parts={"differences": variance},
        method="one pair a subject",
    )


def _linked_pairs(pairs: pd.DataFrame) -> Spread:
    by_subject = pairs.groupby("subject").d
    m, means, total = by_subject.size().to_numpy(float), by_subject.mean().to_numpy(float), len(pairs)
    n, bias = len(m), float(pairs.d.mean())
    within = float(((pairs.d - by_subject.transform("mean")) ** 2).sum() / (total - n))
    among = float((m * (means - bias) ** 2).sum() / (n - 1))
    m0 = float((total**2 - (m**2).sum()) / ((n - 1) * total))
    between = float(among - within) / m0
    weights, note = np.array([1 / m0, 1 - 1 / m0]), ""
    if between < 0:
        between, weights = 0.0, np.array([0.0, 1.0])
        note = (
            "Differences vary no more between subjects than within; the variance between them is taken as 0."
        )
    return Spread(
        bias=bias,
        bias_variance=between * float((m**2).sum()) / total**2 + within / total,
        weights=weights,
        mean_squares=np.array([among, within]),
        df=np.array([n - 1, total - n]),
        parts={"between subjects": between, "within subjects": within},
        method="linked repeats of a varying true value",
        note=note,
    )


def _constant_truth(pairs: pd.DataFrame) -> Spread:
    by_subject = pairs.groupby("subject")
    m, total = by_subject.size().to_numpy(), len(pairs)
    if m.min() < 2:
        raise Refusal("subject", "a subject with one pair", "two or more of each", "leave that subject out")
    n = len(m)
    rest = pairs[["a", "b"]] - by_subject[["a", "b"]].transform("mean")
    within = (rest**2).sum() / (total - n)
    means = by_subject.d.mean()
    of_means, share = float(means.var()), 1 - float((1 / m).mean())
    return Spread(
        bias=float(means.mean()),
        bias_variance=of_means / n,
        weights=np.array([1, share, share]),
        mean_squares=np.array([of_means, within.a, within.b]),
        df=np.array([n - 1, total - n, total - n]),
        parts={"differences of means": of_means, "within a": float(within.a), "within b": float(within.b)},
        method="repeats of a constant true value",
    )
