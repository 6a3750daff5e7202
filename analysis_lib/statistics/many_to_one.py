"""How wide must intervals be that compare several rings with one, and how likely do they find an effect?

`equal_critical_t` is for equally correlated contrasts, as where every ring has as many trials; `critical_t` takes any
correlation.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import check_level

HALF_CORRELATED = 0.5
"""Of two contrasts with one reference, where all rings have as many trials."""
SAME = 1e-9
"""Correlations no farther apart than this are one: those of a complete design differ by rounding alone."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)


@lru_cache(maxsize=4096)
def equal_critical_t(contrasts: int, df: float, level: float = 0.95, correlation: float = 0.5) -> float:
    """Find c such that all |t| of equally correlated contrasts stay below c with probability `level`.

    P = ∫ f(s) ∫ [Φ((c s + √ρ z)/√(1−ρ)) − Φ((−c s + √ρ z)/√(1−ρ))]^k φ(z) dz ds, s = sqrt(χ²/df): Dunnett's
    integral, by Gauss and Legendre's rule.

    Raises
    ------
    Refusal
        No contrast, a correlation outside 0 to 1, degrees of freedom that are not positive.

    References
    ----------
    Dunnett, J Am Stat Assoc 1955;50:1096.

    Examples
    --------
    One contrast has Student's t, 2.228 on 10 degrees of freedom (any table of t):

    >>> round(equal_critical_t(1, 10), 3)
    2.228
    """
    check_level(level)
    if contrasts < 1 or not 0 <= correlation < 1 or not df > 0:
        got = f"{contrasts} contrasts, correlation {correlation}, {df} df"
        raise Refusal("simultaneous t", got, "1 or more, 0 to 1, above 0", "check the design")
    single = float(scipy.stats.t.ppf((1 + level) / 2, df))
    if contrasts == 1:
        return single
    bonferroni = float(scipy.stats.t.ppf(1 - (1 - level) / 2 / contrasts, df))

    def excess(c: float) -> float:
        return equal_chance_inside(c, contrasts, df, correlation) - level

    return float(scipy.optimize.brentq(excess, 0.99 * single, 1.01 * bonferroni))


def equal_chance_inside(c: float, contrasts: int, df: float, correlation: float) -> float:
    """Chance that all |t| of equally correlated contrasts stay below c; the integral of `equal_critical_t`."""
    spread, shares = _spread_nodes(df)
    z = 8 * NODES
    density = 8 * WEIGHTS * scipy.stats.norm.pdf(z)
    shift, width = np.sqrt(correlation) * z, np.sqrt(1 - correlation)
    reach = c * spread[:, None]
    inside = scipy.stats.norm.cdf((reach + shift) / width) - scipy.stats.norm.cdf((shift - reach) / width)
    return float(shares @ (inside**contrasts @ density))


@lru_cache(maxsize=256)
def _spread_nodes(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights for the mean over s = sqrt(χ²/df)."""
    first, last = np.sqrt(scipy.stats.chi2.ppf([1e-12, 1 - 1e-12], df) / df)
    half = (last - first) / 2
    nodes = first + half * (1 + NODES)
    return nodes, half * WEIGHTS * 2 * df * nodes * scipy.stats.chi2.pdf(df * nodes**2, df)


def critical_t(correlation: NDArray[np.float64], df: float, level: float) -> float:
    """Find c such that all |t_i| of a multivariate t distribution stay below c with probability `level`.

    Examples
    --------
    One contrast has Student's t, 2.228 on 10 degrees of freedom (any table of t):

    >>> round(critical_t(np.eye(1), 10, 0.95), 3)
    2.228
    """
    single = float(scipy.stats.t.ppf((1 + level) / 2, df))
    if len(correlation) == 1:
        return single
    bonferroni = float(scipy.stats.t.ppf(1 - (1 - level) / 2 / len(correlation), df))
    return float(
        scipy.optimize.brentq(
            lambda c: chance_inside(c, correlation, df) - level, 0.99 * single, 1.01 * bonferroni, xtol=1e-5
        )
    )


def chance_inside(c: float, correlation: NDArray[np.float64], df: float) -> float:
    """Chance that all |t| stay below c, of contrasts correlated in any way."""
    if len(correlation) == 1:
        return float(1 - 2 * scipy.stats.t.sf(c, df))
    pairs = correlation[np.triu_indices(len(correlation), 1)]
    if np.ptp(pairs) < SAME and 0 <= pairs[0] < 1 - SAME:
        return equal_chance_inside(c, len(correlation), df, float(pairs.mean()))
    reach = np.full(len(correlation), c)
    # A fixed stream makes the quasi-random integral a smooth function of c and the same on every run.
    return float(
        scipy.stats.multivariate_t.cdf(
            reach,
            shape=correlation,
            df=int(df),
            lower_limit=-reach,
            maxpts=20000,
            random_state=np.random.default_rng(0),
        )
    )


def many_to_one_power(effect: float, se: float, df: float, contrasts: int, alpha: float = 0.05) -> float:
    """Power to find the true effect of one ring when several are compared with the reference, simultaneously.

    The chance that |t| of that ring exceeds `equal_critical_t` at 1 − alpha, by the non-central t distribution;
    what the other rings do does not enter.

    Parameters
    ----------
    effect, se : float
        True difference from the reference, and the standard error of its estimate, in one unit.
    df : float
        Residual degrees of freedom.
    contrasts : int
        Rings compared with the reference.

    Examples
    --------
    Without an effect each of two rings is found in fewer than the 5 % that hold for both together:

    >>> many_to_one_power(0.0, 1.0, 20, 2) < 0.05
    True
    """
    if not se > 0:
        raise Refusal("standard error", f"{se}", "a positive number", "check the SD within a rider")
    critical, shift = equal_critical_t(contrasts, df, 1 - alpha, HALF_CORRELATED), abs(effect) / se
    return float(scipy.stats.nct.sf(critical, df, shift) + scipy.stats.nct.cdf(-critical, df, shift))
