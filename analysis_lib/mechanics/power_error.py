"""The power error: what a meter gets wrong when it sees crank speed only a few times a turn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Integral
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.mechanics.periodic import check_turn
from analysis_lib.refusals import Refusal

Averaging = Literal["time", "angle"]

SECTORS_SHOWN = (1, 2, 4, 6, 8, 12, 16, 24, 36)


def power_error(
    torque_Nm: ArrayLike, speed_rad_s: ArrayLike, sectors: int = 1, start_rad: float = 0.0
) -> float:
    """Relative error of power from time-averaged torque times sector-mean speed.

    The meter learns the crank speed once per sector: N sectors of equal angle, the first beginning at
    `start_rad`. In each sector s it averages torque over *time*, τₛ = ∫T dt / tₛ, and multiplies by the
    sector's mean speed, (2π/N)/tₛ; energies and times add over the turn. The times cancel from the energies,
    Eₛ = τₛ·2π/N, so

        error = (mean of τₛ over sectors) / (mean of T over angle) − 1.

    Torque is sampled quickly against the turn. T/ω and 1/ω run linearly between the given angles, so a sector
    that ends between two angles takes its exact part of the cell. True power is angle-mean torque × 2π /
    duration.

    Parameters
    ----------
    torque_Nm : array of shape (angles,)
        Crank torque at equally spaced angles, 0 to 2π, end excluded.
    speed_rad_s : array of shape (angles,)
        Crank speed at the same angles.
    sectors : int
        Number of speed readings a turn.
    start_rad : float
        Crank angle at which the first sector begins, counted from the angle of the first value; 0 is top dead
        centre. Means over bins that begin at top dead centre stand half a bin later: −π/angles for them.

    Returns
    -------
    float
        0.018 means that the meter reads 1.8 % too much.

    Raises
    ------
    Refusal
        Turns that do not match, speed that is not positive, torque without a mean, a bad number of sectors.

    Notes
    -----
    Zero for a constant speed, and, with one sector, for a round ring against a constant resistance at any
    inertia: (T − R)/ω = I dω/dθ there, which adds up to nothing over a turn. Two sectors change nothing where
    the turn repeats after half a turn. More sectors need not err less; see `meter_error_by_sectors`.

    Examples
    --------
    Torque 1 + cos 2θ at the speed of a clock 1 + 0.1·cos 2θ slower: 1/ω = 1 + 0.1·cos 2θ, so the time-mean
    torque is 1 + 0.1/2 and the error is +5 %.

    >>> angle = np.arange(360) * 2 * np.pi / 360
    >>> round(power_error(1 + np.cos(2 * angle), 1 / (1 + 0.1 * np.cos(2 * angle))), 12)
    0.05
    """
    torque, _ = check_turn(torque_Nm, "torque_Nm")
    speed, _ = check_turn(speed_rad_s, "speed_rad_s")
    _check_pair(torque, speed)
    return float(power_errors(torque, speed, sectors, start_rad))


def power_errors(
    torque_Nm: NDArray[np.float64],
    speed_rad_s: NDArray[np.float64],
    sectors: int = 1,
    start_rad: float = 0.0,
    averaging: Averaging = "time",
) -> NDArray[np.float64]:
    """`power_error` of many turns at once, for a meter that averages torque over time or over angle.

    A meter that takes its torque at equal steps of angle has τₛ = ∫T dθ / (2π/N) in each sector instead, and so
    Eₛ = ∫T dθ: the work itself. However the speed varies and however seldom it is read, its error is nothing.

    Parameters
    ----------
    torque_Nm, speed_rad_s : arrays of shape (..., angles)
        Finite turns, as in `power_error`; a positive speed.
    sectors, start_rad
        As in `power_error`.
    averaging : {"time", "angle"}

    Returns
    -------
    array of shape (...,)
    """
    return power_errors_by_sectors(torque_Nm, speed_rad_s, [sectors], start_rad, averaging)[0]


def power_errors_by_sectors(
    torque_Nm: NDArray[np.float64],
    speed_rad_s: NDArray[np.float64],
    sectors: Sequence[int],
    start_rad: float = 0.0,
    averaging: Averaging = "time",
) -> list[NDArray[np.float64]]:
    """`power_errors` for several numbers of speed readings a turn; the turns are summed up once for all of them."""
    if averaging not in get_args(Averaging):
        raise Refusal(
            "averaging", repr(averaging), "'time' or 'angle'", "say over what the meter averages torque"
        )
    in_time = averaging == "time"
    slowness = 1 / speed_rad_s if in_time else None
    torque = _RunningTurn.of(torque_Nm if slowness is None else torque_Nm * slowness)
    time = None if slowness is None else _RunningTurn.of(slowness)
    counts = [_check_sectors(count) for count in sectors]
    edges = [start_rad + np.linspace(0, 2 * math.pi, count + 1) for count in counts]
    widths = [np.full(count, 2 * math.pi / count) for count in counts]
    works, durations = _between(torque, edges), widths if time is None else _between(time, edges)
    mean = torque_Nm.mean(axis=-1)
    return [
        (work / duration).mean(axis=-1) / mean - 1 for work, duration in zip(works, durations, strict=True)
    ]


def meter_error_by_sectors(
    torque_Nm: ArrayLike, speed_rad_s: ArrayLike, sectors: Sequence[int] = SECTORS_SHOWN
) -> pd.DataFrame:
    """`power_error` for several numbers of speed readings a turn, all beginning at top dead centre.

    The error need not fall steadily: it depends on where the torque phase lies against the edges of the
    sectors.

    Returns
    -------
    DataFrame
        Columns ``sectors`` and ``relative_error``, one row a number of sectors.
    """
    torque, _ = check_turn(torque_Nm, "torque_Nm")
    speed, _ = check_turn(speed_rad_s, "speed_rad_s")
    _check_pair(torque, speed)
    errors = [float(error) for error in power_errors_by_sectors(torque, speed, sectors)]
    return pd.DataFrame({"sectors": list(sectors), "relative_error": errors})


@dataclass(frozen=True)
class _RunningTurn:
    """Turns along the last axis, which run linearly between samples, and their running sums."""

    turn: NDArray[np.float64]
    sums: NDArray[np.float64]

    @classmethod
    def of(cls, turn: NDArray[np.float64]) -> _RunningTurn:
        return cls(turn, np.cumsum(turn, axis=-1))

    def integral_to(self, angles: NDArray[np.float64]) -> NDArray[np.float64]:
        """Integral over angle from 0 to each of `angles` (rad)."""
        count = self.turn.shape[-1]
        step = 2 * math.pi / count
        turns, position = np.divmod(angles / step, count)
        cell = np.minimum(position.astype(int), count - 1)
        part = position - cell
        here, following = self.turn[..., cell], self.turn[..., (cell + 1) % count]
        # Trapezoids from the first sample on.
        to_sample = self.sums[..., cell] - (self.turn[..., :1] + here) / 2
        within = here * part + (following - here) * part**2 / 2
        return step * (turns * self.sums[..., -1:] + to_sample + within)


def _between(running: _RunningTurn, edges: Sequence[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """Integrals between neighbouring edges, of several sets of edges at once."""
    if not edges:
        return []
    integrals = running.integral_to(np.concatenate(edges))
    ends = np.cumsum([each.size for each in edges])[:-1]
    return [np.diff(part) for part in np.split(integrals, ends, axis=-1)]


def _check_pair(torque: NDArray[np.float64], speed: NDArray[np.float64]) -> None:
    if torque.size != speed.size:
        raise Refusal(
            "speed_rad_s",
            f"{speed.size} angles",
            f"the {torque.size} angles of torque_Nm",
            "give torque and speed at the same angles",
        )
    if not speed.min() > 0:
        raise Refusal(
            "speed_rad_s",
            f"a smallest speed of {speed.min():.3g} rad/s",
            "a positive crank speed at every angle",
            "leave out turns in which the crank stops or runs backwards",
        )
    if abs(np.mean(torque)) <= 1e-12 * np.max(np.abs(torque)) or not np.any(torque):
        raise Refusal(
            "torque_Nm",
            "a mean of zero",
            "a mean torque, to which an error can be relative",
            "compare powers in watts instead",
        )


def _check_sectors(sectors: int) -> int:
    if isinstance(sectors, bool) or not isinstance(sectors, Integral) or sectors < 1:
        raise Refusal("sectors", repr(sectors), "a whole number from 1", "give the speed readings a turn")
    return int(sectors)
