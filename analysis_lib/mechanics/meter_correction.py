"""The correction of a meter: the factor that turns its reading into power, and how sure that factor is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import check_turn, look_ahead
from analysis_lib.mechanics.power_error import Averaging, power_errors_by_sectors
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.steady_speed import steady_speeds
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval, check_level

SECTORS_CORRECTED = (1, 2, 4, 8, 16, 32)
DRAWS_AT_ONCE = 128
"""As many turns as stay in a processor's cache from one step to the next."""

METHOD = (
    "propagation of distributions by Monte Carlo (JCGM 101:2008): draws of the mean turn, of inertia, mount and angle"
    " zero together; limits are the draws' quantiles (7.7.2 there)"
)


@dataclass(frozen=True)
class DriveUncertainty:
    """Standard uncertainties of what a correction takes from the bike and the recorder.

    Attributes
    ----------
    inertia_relative : float
        Of the inertia, as a share of it; drawn log-normal, for an inertia is never negative.
    mount_deg : float
        Of the mount angle.
    angle_zero_deg : float
        Of the recorded crank angle's zero: the torque may stand that much early or late against the ring.
    """

    inertia_relative: float = 0.0
    mount_deg: float = 0.0
    angle_zero_deg: float = 0.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not (math.isfinite(value) and value >= 0):
                raise Refusal(name, repr(value), "0 or more", "state it as a standard uncertainty")


@dataclass(frozen=True)
class MeterCorrection:
    """What to multiply a meter's reading by.

    Attributes
    ----------
    sectors : int
        Speed readings a turn.
    averaging : {"time", "angle"}
        Over what the meter averages torque.
    factor : float
        Power over reading, 1/(1 + error), at the best estimates.
    standard_uncertainty : float
        Standard deviation of the drawn factors.
    draws : array of shape (draws,)
        Drawn factors.
    method : str
    """

    sectors: int
    averaging: Averaging
    factor: float
    standard_uncertainty: float
    draws: FloatArray
    method: str = METHOD

    def interval(self, level: float = 0.95) -> Interval:
        """Return the coverage interval of the factor that leaves equal parts of the draws out on either side."""
        check_level(level)
        if level not in self._intervals:
            low, high = np.quantile(self.draws, [(1 - level) / 2, (1 + level) / 2])
            self._intervals[level] = Interval(float(low), float(high), level)
        return self._intervals[level]

    @cached_property
    def _intervals(self) -> dict[float, Interval]:
        return {}

    def power_W(self, reading_W: float) -> float:
        """Return the power behind a reading."""
        return reading_W * self.factor

    def power_interval_W(self, reading_W: float, level: float = 0.95) -> Interval:
        """Return the interval of the power behind a reading; what the reading itself lacks is not in it."""
        factor = self.interval(level)
        low, high = sorted(reading_W * limit for limit in (factor.low, factor.high))
        return Interval(low, high, level)

    def sentence(self, reading_W: float, level: float = 0.95) -> str:
        """Say what a reading becomes."""
        found = self.power_interval_W(reading_W, level)
        times = {1: "once", 2: "twice"}.get(self.sectors, f"{self.sectors} times")
        return (
            f"A meter that averages torque over {self.averaging} and reads the speed {times} a turn shows {reading_W:.0f} W"
            f" for {self.power_W(reading_W):.1f} W ({level:.0%} interval {found.low:.1f} to {found.high:.1f} W): factor"
            f" {self.factor:.4f}."
        )


def correct_meter(
    drivetrain: Drivetrain,
    torque_Nm: FloatArray,
    torque_draws_Nm: FloatArray,
    mean_cadence_rpm: float,
    known_to: DriveUncertainty,
    seed: int,
    sectors: Sequence[int] = SECTORS_CORRECTED,
    averaging: Averaging = "time",
) -> list[MeterCorrection]:
    """Return the correction of meters with each number of speed readings a turn.

    With the steady speed ω that the drivetrain must have under the torque T, a meter reads P·(1 + error), so power is
    its reading times 1/(1 + error). Torque, inertia, mount and angle zero are drawn together, the error follows for
    every draw, and the spread of the factors is the correction's uncertainty.

    Parameters
    ----------
    drivetrain : Drivetrain
        Ring, mount and inertia at their best estimates.
    torque_Nm : array of shape (angles,)
        Two-leg torque of the mean turn at equally spaced right-crank angles from 0.
    torque_draws_Nm : array of shape (draws, angles)
        Bootstrap draws of that turn.
    mean_cadence_rpm : float
    known_to : DriveUncertainty
    seed : int
        The same seed gives the same draws.
    sectors : sequence of int
    averaging : {"time", "angle"}
        A meter that averages over angle needs no correction; see `power_errors`.

    Raises
    ------
    Refusal
        Torque or cadence that no steady turn can have; an inertia so small or so uncertain that drawn cranks stall.

    Notes
    -----
    The resistance at the wheel is constant over the turn and the drive rigid; the meter's first sector begins at top
    dead centre. A meter's own errors of zero, slope and delay come on top. Limits: factor 1 for a round ring read once
    a turn or with infinite inertia, and for many sectors on any ring.
    """
    torque, angle = check_turn(torque_Nm, "torque_Nm")
    gear = drivetrain.gear(angle)
    best = drivetrain.steady_speed(torque, mean_cadence_rpm)
    found = power_errors_by_sectors(torque, best, sectors, averaging=averaging)
    spread = [
        power_errors_by_sectors(drawn, speeds, sectors, averaging=averaging)
        for drawn, speeds in _draw_turns(drivetrain, gear, torque_draws_Nm, mean_cadence_rpm, known_to, seed)
    ]
    corrections = []
    for count, error, errors in zip(sectors, found, zip(*spread, strict=True), strict=True):
        factors = 1 / (1 + np.concatenate(errors))
        spread_of = float(factors.std(ddof=1))
        corrections.append(MeterCorrection(count, averaging, 1 / (1 + float(error)), spread_of, factors))
    return corrections


def corrections_frame(
    corrections: Sequence[MeterCorrection], power_W: float, level: float = 0.95
) -> pd.DataFrame:
    """Return one row a meter for a rider who gives `power_W`: its reading, the factor, and the watts to add.

    Returns
    -------
    DataFrame
        ``sectors, power_W, meter_W, factor, factor_low, factor_high, add_W, add_low_W, add_high_W``.
    """
    rows = []
    for part in corrections:
        reading = power_W / part.factor
        found, watts = part.interval(level), part.power_interval_W(reading, level)
        factors = (part.factor, found.low, found.high)
        rows.append(
            (
                part.sectors,
                power_W,
                reading,
                *factors,
                power_W - reading,
                watts.low - reading,
                watts.high - reading,
            )
        )
    columns = ["sectors", "power_W", "meter_W", "factor", "factor_low", "factor_high"]
    return pd.DataFrame(rows, columns=[*columns, "add_W", "add_low_W", "add_high_W"])


def _draw_turns(
    drivetrain: Drivetrain,
    gear: FloatArray,
    torque_draws_Nm: FloatArray,
    mean_cadence_rpm: float,
    known_to: DriveUncertainty,
    seed: int,
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield drawn torque turns, against the true crank angle, and the steady speed of each, some at a time."""
    count = len(torque_draws_Nm)
    inertia_z, mount_z, angle_z = np.random.default_rng(seed).standard_normal((3, count))
    # A log-normal draw whose relative standard deviation is the one stated.
    log_sd = math.sqrt(math.log1p(known_to.inertia_relative**2))
    inertia = drivetrain.wheel_inertia_kgm2 * np.exp(log_sd * inertia_z)
    late, turned = np.radians(known_to.angle_zero_deg * angle_z), np.radians(known_to.mount_deg * mount_z)
    for first in range(0, count, DRAWS_AT_ONCE):
        rows = slice(first, first + DRAWS_AT_ONCE)
        torque = look_ahead(torque_draws_Nm[rows], late[rows])
        # A ring turned on its crank meets the chain as before, that much earlier in the turn; a round one just as before.
        gears = gear if drivetrain.ring.is_round else look_ahead(gear, turned[rows])
        yield torque, steady_speeds(torque, gears, inertia[rows], mean_cadence_rpm)
