"""The torque–speed slope: how much torque a rider loses at every angle when the crank runs faster."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.quantiles import t_quantile

Origin = Literal["declared", "recorded", "assumed"]

OPTIMAL_CADENCE_RPM = 129.8
"""Cadence of greatest power in maximal cycling (Dorel 2005): torque falls straight to nothing at twice that."""

LOWEST_OPTIMAL_CADENCE_RPM = 122.0
"""The same by Martin 1997."""

LEAST_RANGE_RPM = 10.0
"""Cadences closer to one another than this tell days apart rather than speeds (convention, no source)."""

RAD_S_PER_RPM = 2 * math.pi / 60


@dataclass(frozen=True)
class StrokeSlope:
    """How torque falls with crank speed, in proportion at every angle where it drives.

    Attributes
    ----------
    lost_pct_per_rpm : float or None
        Torque lost per rpm in % of the torque at hand; None follows the straight line of maximal cycling to
        nothing at twice `optimal_cadence_rpm`, 100/(2·optimum − cadence) % per rpm.
    origin : {"declared", "recorded", "assumed"}
    source : str
        Where it comes from, in words.
    optimal_cadence_rpm : float
    """

    lost_pct_per_rpm: float | None = None
    origin: Origin = "assumed"
    source: str = "no slope of this rider is known, so torque falls as maximal torque does (Dorel 2005)"
    optimal_cadence_rpm: float = OPTIMAL_CADENCE_RPM

    def lost_at(self, cadence_rpm: float) -> float:
        """Torque lost per rpm at a cadence, in % of the torque.

        Examples
        --------
        100/(2·129.8 − 90) = 0.59 % per rpm.

        >>> round(StrokeSlope().lost_at(90.0), 2)
        0.59
        """
        if self.lost_pct_per_rpm is not None:
            return self.lost_pct_per_rpm
        left = 2 * self.optimal_cadence_rpm - cadence_rpm
        if not left > 0:
            raise Refusal(
                "cadence_rpm",
                f"{cadence_rpm:g} rpm",
                f"less than {2 * self.optimal_cadence_rpm:g} rpm, where the line of maximal torque ends",
                "declare torque_lost_pct_per_rpm, or use a stroke at an ordinary cadence",
            )
        return 100 / left

    def slope_Nms(self, torque_Nm: ArrayLike, cadence_rpm: float) -> FloatArray:
        """Return ∂T/∂ω (N·m·s) at every angle: −k·T₀ where torque drives, else 0.

        Examples
        --------
        26 N·m at 90 rpm: 2·129.8 − 90 = 169.6 rpm = 17.76 rad/s, so −26/17.76 = −1.46 N·m·s.

        >>> round(float(StrokeSlope().slope_Nms([26.0], 90.0)[0]), 2)
        -1.46
        """
        driving = np.maximum(np.asarray(torque_Nm, dtype=float), 0.0)
        return -driving * self.lost_at(cadence_rpm) / 100 / RAD_S_PER_RPM

    def sentence(self) -> str:
        """The slope in words."""
        if self.lost_pct_per_rpm is None:
            return f"Torque–speed slope: assumed; {self.source}. Slopes of submaximal riding are not known."
        return (
            f"Torque–speed slope: {self.origin}, {self.lost_pct_per_rpm:.2f} % of the torque lost per rpm;"
            f" {self.source}."
        )


ASSUMED_SLOPE = StrokeSlope()
"""What stands where nothing else is known."""


def declare_slope(lost_pct_per_rpm: float, where: str) -> StrokeSlope:
    """Return the slope that a study states, refused unless it is 0 to 5 % per rpm.

    5 % per rpm would leave no torque 20 rpm faster.
    """
    if not 0 <= lost_pct_per_rpm <= 5:
        raise Refusal(
            "torque_lost_pct_per_rpm",
            repr(lost_pct_per_rpm),
            "0 to 5 % per rpm",
            "give the loss as a positive number in % of the torque; maximal cycling at 90 rpm loses 0.6",
        )
    return StrokeSlope(float(lost_pct_per_rpm), "declared", where)


@dataclass(frozen=True)
class RecordedSlope:
    """The loss of torque with cadence over a rider's own trials, within intensities.

    Attributes
    ----------
    lost_pct_per_rpm, se : float
    df, n : int
        n trials; one degree of freedom goes to the slope and one to each intensity.
    held_power_pct_per_rpm : float
        What the loss would be if power had been held: 100 over mean cadence.
    """

    lost_pct_per_rpm: float
    se: float
    df: int
    n: int
    held_power_pct_per_rpm: float

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval of the loss, % per rpm."""
        away = t_quantile((1 + level) / 2, self.df) * self.se
        return self.lost_pct_per_rpm - away, self.lost_pct_per_rpm + away

    def slope(self) -> StrokeSlope:
        """Return the slope, where these trials can tell it.

        Raises
        ------
        Refusal
            Where the interval takes in the loss at held power, or reaches below none.
        """
        low, high = self.interval()
        if low <= self.held_power_pct_per_rpm <= high:
            raise Refusal(
                "torque–speed slope from the recordings",
                f"a loss of {low:.2f} to {high:.2f} % per rpm, which takes in the"
                f" {self.held_power_pct_per_rpm:.2f} of a power that is held whatever the legs do",
                "a loss that the rider, not the protocol, decides",
                "record cadences at equal effort, not at equal power, or declare torque_lost_pct_per_rpm",
            )
        if low < 0:
            raise Refusal(
                "torque–speed slope from the recordings",
                f"a loss of {low:.2f} to {high:.2f} % per rpm",
                "a loss above none",
                "record more trials at cadences further apart, or declare torque_lost_pct_per_rpm",
            )
        return StrokeSlope(
            self.lost_pct_per_rpm,
            "recorded",
            f"from {self.n} round-ring trials at several cadences, 95 % interval {low:.2f} to {high:.2f},"
            " if effort was the same at each",
        )


def slope_from_trials(trials: Mapping[str, tuple[ArrayLike, ArrayLike]]) -> RecordedSlope:
    """Fit the loss of torque with cadence within intensities: ln T = aᵢ − k·cadence.

    Parameters
    ----------
    trials : dict of intensity to (cadences in rpm, mean torques in N·m)
        On one ring.

    Raises
    ------
    Refusal
        Cadences within 10 rpm of one another at every intensity, or too few trials.

    Examples
    --------
    Torque that falls by the factor e^−0.05 for every 10 rpm loses 0.5 % per rpm.

    >>> import math
    >>> fit = slope_from_trials({"steady": ([70, 80, 90], [30 * math.exp(-0.05 * k) for k in (0, 1, 2)])})
    >>> round(fit.lost_pct_per_rpm, 6)
    0.5
    """
    pairs = {
        name: (np.asarray(cadence, dtype=float), np.log(torque)) for name, (cadence, torque) in trials.items()
    }
    widest = max((float(np.ptp(cadence)) for cadence, _ in pairs.values()), default=0.0)
    n = sum(cadence.size for cadence, _ in pairs.values())
    df = n - len(pairs) - 1
    if widest < LEAST_RANGE_RPM or df < 1:
        raise Refusal(
            "torque–speed slope from the recordings",
            f"{n} round-ring trials at {len(pairs)} intensities, cadences within {widest:.1f} rpm of one another",
            f"cadences {LEAST_RANGE_RPM:g} rpm apart at one intensity, and two trials more than intensities",
            "ride one intensity at several cadences, or declare torque_lost_pct_per_rpm",
        )
    cadence = np.concatenate([row - row.mean() for row, _ in pairs.values()])
    log_torque = np.concatenate([row - row.mean() for _, row in pairs.values()])
    spread = float(cadence @ cadence)
    slope = float(cadence @ log_torque) / spread
    variance = float(np.sum((log_torque - slope * cadence) ** 2)) / df / spread
    mean_cadence = float(np.mean(np.concatenate([row for row, _ in pairs.values()])))
    return RecordedSlope(-100 * slope, 100 * math.sqrt(variance), df, n, 100 / mean_cadence)
