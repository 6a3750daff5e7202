"""Which of several findings still count when all of them were looked at?"""

from __future__ import annotations

import gc
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate, Interval, check_level

METHODS = {
    "bonferroni": "bonferroni",
    "holm": "holm",
    "hochberg": "simes-hochberg",
    "benjamini-hochberg": "fdr_bh",
}


def adjust_p(p_values: ArrayLike, method: str = "holm") -> NDArray[np.float64]:
    """Adjust a family of p values for having looked at all of them.

    Holm: the k-th smallest of m p values is multiplied by m − k + 1, and no adjusted value may be smaller
    than one before it. The calculation is that of `statsmodels.stats.multitest.multipletests`.

    Parameters
    ----------
    p_values : array_like, shape (m,)
        One p a comparison. NaN stands for a comparison that could not be tested: it stays NaN, and still
        counts as one of the m looks.
    method : {"holm", "bonferroni", "hochberg", "benjamini-hochberg"}
        The first three bound the chance of any false finding, the last the expected share of false findings.
        Hochberg needs independent or positively dependent tests; Holm needs nothing.

    Returns
    -------
    ndarray, shape (m,)
        Adjusted p values in the order given.

    Raises
    ------
    Refusal
        An unknown method, an empty family, or a value outside 0 to 1.

    References
    ----------
    Holm, Scand J Stat 1979;6:65. Benjamini & Hochberg, J R Stat Soc B 1995;57:289.

    Examples
    --------
    0.01 · 3, then 0.03 · 2, then 0.04 · 1 which may not fall below 0.06:

    >>> adjust_p([0.01, 0.04, 0.03]).round(6).tolist()
    [0.03, 0.06, 0.06]
    """
    from statsmodels.stats.multitest import multipletests  # slow to load, and few pages need it

    values = np.asarray(p_values, dtype=float)
    _check_family(values, method)
    untested = np.isnan(values)
    with _garbage_left_alone():
        adjusted = multipletests(np.where(untested, 1.0, values), method=METHODS[method])[1]
    return np.where(untested, np.nan, adjusted)


@contextmanager
def _garbage_left_alone() -> Iterator[None]:
    """Keep what the process holds out of sight of a search for garbage, with which the library ends every adjustment.

    On a study's page, which holds much and adjusts often, that search took a fifth of the time.
    """
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def simultaneous_intervals(
    estimates: Mapping[object, Estimate], level: float = 0.95
) -> dict[object, Interval]:
    """Widen the intervals of m estimates so that all of them hold together with at least this probability.

    Each is made at the level 1 − (1 − level)/m. Nothing is assumed about how the estimates depend on one
    another or about their degrees of freedom. Holm's adjusted p is at most m times the plain one, so it may
    fall below 1 − level while the interval here still includes zero, never the other way round.

    Returns
    -------
    dict
        By name; the `level` of each interval is the one that it holds together with the others.

    Raises
    ------
    Refusal
        No estimates, or a level outside 0 to 1.

    References
    ----------
    Dunn, J Am Stat Assoc 1961;56:52.

    Examples
    --------
    Two estimates at 95 % need 97.5 % each: t(10, 0.9875) = 2.634.

    >>> one = Estimate("x", 0.0, 1.0, 10, "", 12, "")
    >>> round(simultaneous_intervals({"easy": one, "hard": one})["hard"].high, 3)
    2.634
    """
    check_level(level)
    if not estimates:
        raise Refusal("simultaneous intervals", "no estimates", "at least one", "give the family's estimates")
    each = 1 - (1 - level) / len(estimates)
    bounds = {name: estimate.interval(each) for name, estimate in estimates.items()}
    return {name: Interval(found.low, found.high, level) for name, found in bounds.items()}


def _check_family(values: NDArray[np.float64], method: str) -> None:
    if method not in METHODS:
        raise Refusal(
            "method of adjustment", repr(method), f"one of {', '.join(METHODS)}", "choose one of these"
        )
    if values.ndim != 1 or values.size == 0:
        raise Refusal(
            "p values",
            f"an array of shape {values.shape}",
            "a list of at least one",
            "give one p a comparison",
        )
    bad = values[(values < 0) | (values > 1)]
    if bad.size:
        raise Refusal("p values", f"{bad[0]}", "numbers from 0 to 1", "check where the p values come from")
