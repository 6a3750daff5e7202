"""The crank angle from recorders that give pulses or a turning rate instead of an angle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number

FloatArray = NDArray[np.float64]
LARGEST_GAIN_ERROR = 0.10  # of a rate sensor, beyond which index pulses and rate contradict each other


@dataclass(frozen=True)
class CrankAngle:
    """A crank angle against time, made from something else.

    Attributes
    ----------
    time_s, crank_rad : arrays of shape (samples,)
        Unwrapped, 0 at the first index pulse.
    assumption : str
        What had to be assumed, in words; empty where nothing was.
    """

    time_s: FloatArray
    crank_rad: FloatArray
    assumption: str

    def at(self, time_s: ArrayLike) -> FloatArray:
        """Return the angle at other times by straight lines, NaN outside."""
        return np.interp(
            np.asarray(time_s, dtype=float), self.time_s, self.crank_rad, left=np.nan, right=np.nan
        )


def angle_from_pulses(pulse_s: ArrayLike, pulses_per_turn: int, index_s: ArrayLike) -> CrankAngle:
    """Return the angle from N evenly spaced pulses a turn and one index pulse a turn.

    Parameters
    ----------
    pulse_s : array_like of shape (pulses,)
        Times of the pulses, each 1/N turn after the one before.
    pulses_per_turn : int
        N.
    index_s : array_like of shape (turns,)
        Times of the index pulse, which marks top dead centre.

    Raises
    ------
    Refusal
        Times that do not grow, or a turn that does not hold N pulses: one was lost or counted twice.

    Examples
    --------
    Four pulses a turn, one turn a second, the index with every fourth:

    >>> angle = angle_from_pulses(np.arange(9) / 4, 4, [0.0, 1.0, 2.0])
    >>> print(np.degrees(angle.at([0.5, 1.75])))
    [180. 630.]
    """
    pulses, index = _growing(pulse_s, "pulse"), _growing(index_s, "index pulse")
    first = np.searchsorted(pulses, index - _half_interval(pulses))
    counts = np.diff(first)
    wrong = np.flatnonzero(counts != pulses_per_turn)
    if wrong.size or index.size < 2:
        turn = int(wrong[0]) if wrong.size else 0
        raise Refusal(
            what=f"index pulse {turn + 1} at {index[turn]:.3f} s",
            got=f"{counts[turn]} pulses to the next" if wrong.size else "no second index pulse",
            wanted=f"{pulses_per_turn} pulses a turn",
            remedy="leave out the part with the lost pulse, or correct the number of pulses a turn",
            scope="trial",
        )
    place = np.arange(pulses.size) - first[0]
    return CrankAngle(pulses, 2 * math.pi * place / pulses_per_turn, "")


def angle_from_index(index_s: ArrayLike) -> CrankAngle:
    """Return the angle from one pulse a turn, taking the speed as constant within each turn.

    That is what an oval ring breaks; the assumption says so. Power from such an angle errs like a meter with one
    speed sector a turn, and a torque phase from it is not to be trusted.
    """
    index = _growing(index_s, "index pulse")
    return CrankAngle(
        index,
        np.linspace(0, 2 * math.pi * (index.size - 1), index.size),
        "The crank angle comes from one pulse a turn, taking the crank speed as constant within each turn; on an "
        "oval ring it is not.",
    )


def angle_from_rate(time_s: ArrayLike, rate_rad_s: ArrayLike, index_s: ArrayLike) -> CrankAngle:
    """Return the angle from a turning rate, tied to an index pulse at every top dead centre.

    The rate is integrated by straight lines, and each turn is stretched to 2π between its index pulses; what the
    gain and the zero of the rate sensor are off by is spread evenly over the turn.

    Parameters
    ----------
    time_s, rate_rad_s : array_like of shape (samples,)
        Rate of the crank, positive in the pedalling direction.
    index_s : array_like of shape (turns,)
        Times of top dead centre.

    Raises
    ------
    Refusal
        Times that do not grow, a rate that goes backwards on the whole, or a turn whose integrated rate is more
        than 10 % from 2π: a pulse was lost, or the rate is in another unit.
    """
    time, index = _growing(time_s, "sample"), _growing(index_s, "index pulse")
    rate = np.asarray(rate_rad_s, dtype=float)
    steps = (rate[1:] + rate[:-1]) / 2 * np.diff(time)
    turned = np.concatenate([[0.0], np.cumsum(steps)])
    inside = index[(index >= time[0]) & (index <= time[-1])]
    at_index = np.interp(inside, time, turned)
    turns = np.diff(at_index) / (2 * math.pi)
    off = np.abs(turns - 1)
    if inside.size < 2 or off.max() > LARGEST_GAIN_ERROR:
        turn = int(np.argmax(off)) if off.size else 0
        raise Refusal(
            what=f"turning rate from index pulse {turn + 1}",
            got=f"{turns[turn]:.3f} turns to the next pulse" if off.size else f"{inside.size} index pulses",
            wanted=f"within {100 * LARGEST_GAIN_ERROR:g} % of one turn between index pulses",
            remedy="give the rate in rad/s, and leave out the part with a lost pulse",
            scope="trial",
        )
    within = (time >= inside[0]) & (time <= inside[-1])
    crank = np.interp(turned[within], at_index, 2 * math.pi * np.arange(inside.size))
    stretched = show_number(100 * float(np.mean(1 / turns - 1)), 2, signed=True)
    said = f"The turning rate was stretched by {stretched} % on average to fit its index pulses."
    return CrankAngle(time[within], crank, said)


def _half_interval(pulses: FloatArray) -> float:
    """An index pulse and the pulse beside it may be stamped in either order."""
    return float(np.median(np.diff(pulses))) / 2


def _growing(times: ArrayLike, what: str) -> FloatArray:
    values = np.asarray(times, dtype=float)
    stalled = np.flatnonzero(~(np.diff(values) > 0))
    if values.ndim == 1 and values.size >= 2 and not stalled.size:
        return values
    row = int(stalled[0]) + 2 if stalled.size else values.size
    raise Refusal(
        what=f"time of {what} {row}",
        got="a time that is not later than the one before" if stalled.size else f"{values.size} times",
        wanted="at least two times that grow",
        remedy="sort the times and leave out repeats",
        scope="trial",
    )
