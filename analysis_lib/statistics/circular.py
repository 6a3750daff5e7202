"""Around which angle do the angles lie, and how sure is that?

Angles of one leg's crank are circular, modulo 360°. Angles of an oval ring or of the two legs together are
axial, modulo 180°: they are doubled, averaged and halved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval, check_level, show_level, show_number
from analysis_lib.statistics.quantiles import normal_quantile, t_quantile

IntervalForm = Literal["student", "fisher", "zar"]
FORMS = get_args(IntervalForm)
MOST_SPREAD = 0.9
"""Resultant length up to which Zar's first equation holds."""


@dataclass(frozen=True)
class CircularMean:
    """Mean direction of angles, how closely they gather, and an interval for it.

    Parameters
    ----------
    angle_deg : float
        Mean in [0, turn_deg).
    resultant_length : float
        0 (no common direction) to 1 (all the same); of the doubled angles for axes.
    n : int
        How many angles.
    dispersion : float
        Fisher's circular dispersion (1 − m₂)/(2 r²), m₂ the mean cosine of twice the deviations, on the
        circle on which the mean was taken; its square root is close to the standard deviation in radians
        there.
    turn_deg : float
        360 for angles, 180 for axes.
    """

    angle_deg: float
    resultant_length: float
    n: int
    dispersion: float
    turn_deg: float

    @property
    def signed_deg(self) -> float:
        """The mean in (−turn/2, turn/2], for differences of angles."""
        return self.angle_deg - self.turn_deg if self.angle_deg > self.turn_deg / 2 else self.angle_deg

    @property
    def method(self) -> str:
        """How mean and interval are made, in words."""
        kind = "axial mean (doubled angles)" if self.turn_deg == 180 else "circular mean"
        return f"{kind}, interval from the circular dispersion with t on {self.n - 1} df"

    def interval(self, level: float = 0.95, form: IntervalForm = "student") -> Interval:
        """Interval for the mean: angle ± arcsin(t(n − 1) · sqrt(dispersion/(n − 1))), halved for axes.

        Nothing is assumed about the distribution but that it is near enough symmetric. Fisher's large-sample
        interval (1993, sec. 4.4) has the normal quantile and n, which covers 87 to 92 % instead of 95 % for 6
        to 12 angles; with t and n − 1 it covered 94 to 98 % for 6 to 20 von Mises or wrapped Cauchy angles,
        and equals the t interval when the angles are close together.

        Other forms, for comparison with other work: "fisher", that large-sample interval; "zar", of Zar (5th ed.,
        equations 26.24 to 26.26, after Upton 1986) from the resultant length alone, which takes the angles for von
        Mises. With R = n r and χ² on one degree of freedom its half is arccos(sqrt(2n(2R² − nχ²)/(4n − χ²))/R) for
        r ≤ 0.9, else arccos(sqrt(n² − (n² − R²) exp(χ²/n))/R).

        Bounds are not wrapped: low < angle < high, so that they can be drawn; take them modulo the turn to
        name an angle. Where the angles point nowhere in particular every angle is in the interval: low and
        high are then half a turn from the mean. NaN when the angles do not vary or there is only one.
        """
        check_level(level)
        if form not in FORMS:
            raise Refusal("form of interval", repr(form), f"one of {', '.join(FORMS)}", "choose one of these")
        if self.n < 2 or self.dispersion == 0:
            return Interval(math.nan, math.nan, level)
        reach = self._half_width(level, form) * self.turn_deg / 360
        return Interval(self.angle_deg - reach, self.angle_deg + reach, level)

    def _half_width(self, level: float, form: IntervalForm) -> float:
        """Half of the interval on the circle of the mean, in degrees; 180 where it holds every angle."""
        if form == "zar":
            cosine = self._cosine_of_zar(float(scipy.stats.chi2.ppf(level, 1)))
            return math.degrees(math.acos(min(cosine, 1.0)))
        if form == "fisher":
            sine = normal_quantile((1 + level) / 2) * math.sqrt(self.dispersion / self.n)
        else:
            sine = t_quantile((1 + level) / 2, self.n - 1) * math.sqrt(self.dispersion / (self.n - 1))
        return 180.0 if sine >= 1 else math.degrees(math.asin(sine))

    def _cosine_of_zar(self, chi2: float) -> float:
        n, length = self.n, self.n * self.resultant_length
        if self.resultant_length <= MOST_SPREAD:
            square = 2 * n * (2 * length**2 - n * chi2) / (4 * n - chi2)
        else:
            square = n**2 - (n**2 - length**2) * math.exp(chi2 / n)
        return math.sqrt(square) / length if square > 0 else -1.0

    def sentence(self, level: float = 0.95) -> str:
        """One sentence for a report."""
        bounds = self.interval(level)
        low, high = show_number(bounds.low, 1), show_number(bounds.high, 1)
        angle = show_number(self.angle_deg, 1)
        return (
            f"{angle}° ({show_level(level)} interval {low}° to {high}°, modulo {self.turn_deg:g}°;"
            f" resultant length {self.resultant_length:.2f}, n = {self.n}; {self.method})"
        )


def circular_mean(angles_deg: ArrayLike) -> CircularMean:
    """Mean direction of angles that live modulo 360°.

    The angle of the mean vector: atan2(Σ sin θ, Σ cos θ); its length is the resultant length.

    Parameters
    ----------
    angles_deg : array_like, shape (n,)
        Degrees, any winding.

    Raises
    ------
    Refusal
        No angles, angles that are not finite, or angles that cancel, so that no mean direction exists.

    References
    ----------
    Fisher, Statistical Analysis of Circular Data, 1993, sec. 2.3 and 4.4. Zar, Biostatistical Analysis, 5th
    ed., ch. 26.

    Examples
    --------
    Just before and just after top dead centre average to top dead centre, not to 180°:

    >>> round(circular_mean([350, 20]).angle_deg, 6)
    5.0
    """
    return _mean_direction(np.radians(check_angles(angles_deg)), 360.0)


def axial_mean(angles_deg: ArrayLike) -> CircularMean:
    """Mean axis of angles that live modulo 180°, such as mount, peak-arm and torque-phase angles.

    Angles are doubled, averaged on the circle and halved; the resultant length is that of the doubled angles.

    Parameters
    ----------
    angles_deg : array_like, shape (n,)
        Degrees, any winding.

    Raises
    ------
    Refusal
        As `circular_mean`; 0° and 90° cancel as axes.

    Examples
    --------
    >>> round(axial_mean([170, 20]).angle_deg, 6)
    5.0
    """
    return _mean_direction(np.radians(2 * check_angles(angles_deg)), 180.0)


def beside_one_another(angles_deg: ArrayLike, period_deg: float = 360.0) -> NDArray[np.float64]:
    """Move angles by whole periods to within half a period of their mean direction, where they can be subtracted.

    Parameters
    ----------
    angles_deg : array_like, shape (n,)
    period_deg : float
        After which an angle is the same again: 360 on a circle, 180 of axes. One that need not be moved stays to the bit.

    Raises
    ------
    Refusal
        As `circular_mean`.

    Examples
    --------
    >>> beside_one_another([350.0, 352.0, 3.0]), beside_one_another([118.0, 1.0, 119.0], 120.0)
    (array([350., 352., 363.]), array([118., 121., 119.]))
    """
    angles = check_angles(angles_deg)
    centre = _mean_direction(np.radians(360 / period_deg * angles), period_deg).angle_deg
    return angles - period_deg * np.round((angles - centre) / period_deg)


def check_angles(angles_deg: ArrayLike, fewest: int = 1) -> NDArray[np.float64]:
    """Bring angles to a finite array of at least `fewest`, or refuse."""
    angles = np.asarray(angles_deg, dtype=float)
    if angles.ndim != 1 or len(angles) < fewest:
        raise Refusal(
            "angles", f"shape {angles.shape}", f"a list of at least {fewest}", "give one angle a rider"
        )
    if not np.isfinite(angles).all():
        place = int(np.flatnonzero(~np.isfinite(angles))[0])
        raise Refusal(
            f"angle {place + 1}",
            f"{angles[place]}",
            "a finite number of degrees",
            "leave out what is missing",
        )
    return angles


def _mean_direction(theta: NDArray[np.float64], turn: float) -> CircularMean:
    vector = np.exp(1j * theta).mean()
    length = float(abs(vector))
    if length < 1e-12:
        raise Refusal(
            "mean direction",
            "angles that cancel one another",
            "angles with a common direction",
            "look at the single angles; they have no mean",
        )
    deviations = theta - np.angle(vector)
    # Deviations at rounding error are none: sin² is exact near zero where 1 − cos 2x is not.
    spread = float(np.mean(np.sin(deviations) ** 2))
    dispersion = spread / length**2 if spread > 1e-24 else 0.0
    angle = math.degrees(float(np.angle(vector))) % 360 * turn / 360
    return CircularMean(angle % turn, min(length, 1.0), len(theta), dispersion, turn)
