"""How large may t get by chance alone, somewhere on a smooth curve?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.curves import read_curves
from analysis_lib.statistics.estimates import check_level, show_count


@dataclass(frozen=True)
class RandomField:
    """Critical t of a smooth random curve, and the smoothness that it rests on.

    `fwhm` is counted in angles (samples); `resels` is the length of the curve over fwhm.
    """

    critical_t: float
    fwhm: float
    resels: float
    df: int
    level: float
    method: str


def random_field_threshold(
    differences: ArrayLike, level: float = 0.95, wrap: bool = True, sequence: ArrayLike | None = None
) -> RandomField:
    """Find the two-sided critical t of difference curves by random field theory: a second reading.

    1 − exp(−(p₀ + R p₁)) = (1 − level)/2 with p₁ = (√(4 ln 2)/2π)(1 + u²/df)^(−(df − 1)/2), R = length/FWHM
    and p₀ = P(T > u) for a curve with two ends. On the crank circle p₀ drops out (a circle has Euler
    characteristic 0), the length is the number of angles and the gradient wraps. The curves must be smooth
    and the errors normal; `curves.paired_curves` needs neither and is the primary analysis.

    Parameters
    ----------
    differences : array_like, shape (riders, angles)
        One curve a rider, as for `curves.paired_curves`.
    level : float
        Simultaneous confidence level, two-sided.
    wrap : bool
        Whether the last angle and the first are neighbours.
    sequence : array_like, shape (riders,), optional
        Sequences whose means are taken out, as in `curves.paired_curves`.

    Raises
    ------
    Refusal
        As `curves.paired_curves`; fewer than three riders or three angles.

    References
    ----------
    Adler & Taylor, Random Fields and Geometry, 2007. Kiebel et al., NeuroImage 1999;10:756 (smoothness).
    Pataky, J Biomech 2010;43:1976.
    """
    check_level(level)
    curves, codes = read_curves(differences, sequence)
    n, angles = curves.shape
    if n < 3 or angles < 3:
        raise Refusal(
            "random field",
            f"{show_count(n, 'rider')} at {show_count(angles, 'angle')}",
            "three or more of each",
            "use paired_curves alone",
        )
    means = np.array([curves[codes == code].mean(axis=0) for code in range(codes.max() + 1)])
    df = n - len(means)
    fwhm = _estimate_fwhm(curves - means[codes], wrap)
    resels = (angles if wrap else angles - 1) / fwhm
    critical = _solve_threshold(resels, df, (1 - level) / 2, wrap)
    method = f"random field theory, {'closed' if wrap else 'open'} curve, two-sided"
    return RandomField(critical, fwhm, resels, df, level, method)


def _estimate_fwhm(residuals: NDArray[np.float64], wrap: bool) -> float:
    """FWHM = 1/mean(sqrt(Σ gradient²/(4 ln 2 · Σ residual²))), sums over riders and mean over angles."""
    if wrap:
        gradient = (np.roll(residuals, -1, axis=1) - np.roll(residuals, 1, axis=1)) / 2
    else:
        gradient = np.gradient(residuals, axis=1)
    roughness = (gradient**2).sum(axis=0) / (residuals**2).sum(axis=0)
    return float(1 / np.mean(np.sqrt(roughness / (4 * math.log(2)))))


def _solve_threshold(resels: float, df: int, tail: float, wrap: bool) -> float:
    def excess(u: float) -> float:
        density = math.sqrt(4 * math.log(2)) / (2 * math.pi) * (1 + u**2 / df) ** (-(df - 1) / 2)
        ends = 0.0 if wrap else float(scipy.stats.t.sf(u, df))
        return ends + resels * density + math.log1p(-tail)

    # However smooth a curve is, its largest t is no smaller than that of a single angle.
    least = float(scipy.stats.t.ppf(1 - tail, df))
    if excess(least) <= 0:
        return least
    most = 2 * least
    while excess(most) > 0:
        most *= 2
    return float(scipy.optimize.brentq(excess, least, most, xtol=1e-12))
