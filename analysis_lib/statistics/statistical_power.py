"""How likely is a study to find a difference that is there, or to show that there is none that matters?"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal

Array = NDArray[np.floating]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)


def contrast_sd(trial_sd: float, periods_per_ring: float = 1, response_sd: float = 0.0) -> float:
    """SD between riders of their contrast: sqrt(response_sd² + 2 trial_sd²/periods_per_ring).

    Parameters
    ----------
    trial_sd : float
        Within-rider SD between trials in like conditions, such as a typical error.
    periods_per_ring : float
        Periods averaged on each ring.
    response_sd : float
        SD between riders of the true difference between rings.

    Examples
    --------
    A typical error of 3 W, two periods on each ring: sqrt(2 · 9/2) = 3 W.

    >>> contrast_sd(3.0, periods_per_ring=2)
    3.0
    """
    if not (trial_sd > 0 and periods_per_ring >= 1 and response_sd >= 0):
        got = f"trial_sd {trial_sd}, periods_per_ring {periods_per_ring}, response_sd {response_sd}"
        raise Refusal("spread of contrasts", got, "a positive SD and one period or more", "check their order")
    return math.sqrt(response_sd**2 + 2 * trial_sd**2 / periods_per_ring)


def difference_power(
    effect: float, contrast_sd: float, riders: int, sequences: int = 1, alpha: float = 0.05, sides: int = 2
) -> float:
    """Power of t on riders' contrasts to find a true effect, by the non-central t distribution; exact.

    The estimate is the mean over sequences of the mean contrast, its standard error
    (contrast_sd/k) sqrt(Σ 1/n_s), df = riders − k; riders spread over the k sequences as evenly as can be.
    One sequence: the paired t test. Two, AB/BA: the standard crossover analysis.

    Parameters
    ----------
    effect, contrast_sd : float
        True mean of the contrast, and its SD between riders, in one unit.
    riders, sequences : int
    alpha : float
    sides : {1, 2}
        Two-sided, or against an effect in the direction of `effect` alone.

    Raises
    ------
    Refusal
        An SD that is not positive, too few riders for the sequences, alpha outside (0, 1), other sides.

    Examples
    --------
    The textbook case of an effect of half an SD and 34 pairs has a power of 0.81:

    >>> round(difference_power(0.5, 1.0, 34), 2)
    0.81
    """
    _check_test(contrast_sd, alpha)
    if sides not in (1, 2):
        raise Refusal("sides", f"{sides}", "1 or 2", "write 2 unless the protocol declares one side")
    se, df = _standard_error(contrast_sd, riders, sequences), riders - sequences
    critical, shift = float(scipy.stats.t.isf(alpha / sides, df)), abs(effect) / se

    def chance(spread: Array) -> Array:
        found = scipy.stats.norm.cdf(shift - critical * spread)
        return found + scipy.stats.norm.cdf(-shift - critical * spread) if sides == 2 else found

    return _average_over_spread(chance, df, critical, [shift / critical])


def equivalence_power(
    effect: float,
    lower: float,
    upper: float,
    contrast_sd: float,
    riders: int,
    sequences: int = 2,
    alpha: float = 0.05,
) -> float:
    """Power of two one-sided t tests to show that a true effect lies between two bounds; exact.

    P = ∫ [Φ((upper − effect)/se − t s) − Φ((lower − effect)/se + t s)] f(s) ds over s from 0 to where the
    bracket closes, s = sqrt(χ²/df) the estimated over the true SD (Owen's integral). Mean, standard error
    and df as `difference_power`. For bioequivalence give logarithms, contrast_sd = sqrt(2 log(1 + CV²)).

    Raises
    ------
    Refusal
        As `difference_power`; bounds in the wrong order.

    References
    ----------
    Owen 1965, Biometrika 52:437. Phillips 1990, J Pharmacokinet Biopharm 18:137.

    Examples
    --------
    With endless precision an effect inside the bounds is shown for certain, and one on a bound in 5 %:

    >>> round(equivalence_power(0.0, -1, 1, 1e-6, 12), 4), round(equivalence_power(1.0, -1, 1, 1e-6, 12), 4)
    (1.0, 0.05)
    """
    _check_test(contrast_sd, alpha)
    check_bounds(lower, upper)
    se, df = _standard_error(contrast_sd, riders, sequences), riders - sequences
    return power_of_two_one_sided(effect, lower, upper, se, df, alpha)


def power_of_two_one_sided(
    effect: float, lower: float, upper: float, se: float, df: int, alpha: float
) -> float:
    """Power of two one-sided t tests on an estimate with a known standard error and df; see `equivalence_power`."""
    check_bounds(lower, upper)
    critical = float(scipy.stats.t.isf(alpha, df))
    above, below = (upper - effect) / se, (lower - effect) / se

    def chance(spread: Array) -> Array:
        both = scipy.stats.norm.cdf(above - critical * spread) - scipy.stats.norm.cdf(
            below + critical * spread
        )
        return np.maximum(both, 0.0)

    closing = (upper - lower) / (2 * critical * se)
    return _average_over_spread(chance, df, critical, [above / critical, -below / critical, closing])


def check_bounds(lower: float, upper: float) -> None:
    """Refuse equivalence bounds that are not finite and in order."""
    if not -math.inf < lower < upper < math.inf:
        raise Refusal(
            "equivalence bounds", f"{lower} to {upper}", "a lower one below an upper one", "swap them"
        )


def check_power(power: float, alpha: float) -> None:
    """Refuse a wanted power that is not between alpha and 1."""
    if not alpha < power < 1:
        raise Refusal("power wanted", f"{power}", f"between alpha {alpha} and 1", "write 0.8 for 80 %")


def _check_test(contrast_sd: float, alpha: float) -> None:
    if not 0 < contrast_sd < math.inf:
        raise Refusal("SD of contrasts", f"{contrast_sd}", "a positive number", "take it from a pilot study")
    if not 0 < alpha < 0.5:
        raise Refusal("alpha", f"{alpha}", "a number between 0 and 0.5", "write 0.05 for 5 %")


def _standard_error(contrast_sd: float, riders: int, sequences: int) -> float:
    """Standard error of the mean of sequence means, riders spread as evenly as can be."""
    if sequences < 1 or riders <= sequences:
        wanted = "more riders than sequences, and one sequence or more"
        raise Refusal("riders", f"{riders} in {sequences} sequences", wanted, "add riders")
    each, more = divmod(riders, sequences)
    return contrast_sd / sequences * math.sqrt((sequences - more) / each + more / (each + 1))


def _average_over_spread(
    chance: Callable[[Array], Array], df: int, critical: float, at: list[float]
) -> float:
    """Mean of a chance that depends on s = sqrt(χ²/df), by Gauss and Legendre's rule between break points.

    The chance is made of normal probabilities of (constant ± critical · s), which change within 8/critical
    of the values `at` and hardly elsewhere.
    """
    first, last = np.sqrt(scipy.stats.chi2.ppf([1e-16, 1 - 1e-16], df) / df)
    inner = [place + step / critical for place in at for step in (-8, -2, 0, 2, 8)]
    breaks = np.unique(np.clip([first, *inner, last], first, last))
    half = np.diff(breaks)[:, None] / 2
    nodes = breaks[:-1, None] + half * (1 + NODES)
    density = 2 * df * nodes * scipy.stats.chi2.pdf(df * nodes**2, df)
    return min(float((half * WEIGHTS * density * chance(nodes)).sum()), 1.0)
