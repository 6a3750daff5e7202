"""Held values: where a channel kept one value while the crank went on, as it does when it freezes within a turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
LEAST_HELD_DEG = 20.0
"""Shorter holds do little harm: a change of 20 N m held over 20° moves a turn's mean by 0.6 N m."""
FEWEST_HELD = 3  # samples
ROUNDED_DEG = 1e-7  # what rounding takes off a travel
STEPPED_DEG = 10.0
"""Values held as long as a rule are no sign of a freeze; told late by half of it, they move a torque phase by 5°."""
FEWEST_CHANGES = 10  # below, a usual travel says nothing
FEWEST_TURNS = 10  # below, it is not known how a channel usually changes
NEAR_ZERO_STEPS = 3.0
SPREADS_APART = 6.0
"""By how many standard deviations of the usual change a hold must miss it; ten turns know theirs badly.

8000 simulated rides of two legs, 20 to 1000 Hz, steps of 0.001 to 4 N m, strokes that vary, floors, two intensities: of
182 000 live turns none was dropped; where riders now and then do not push, 72 of 65 600. Of freezes of 60° nine in ten were
found in steps of 0.1 N m or less, of 90° and more 97 in 100; in steps of 1 N m two in three. The long test of
`tests/signals/test_held_values.py` draws such rides anew.
"""
FINEST_STEP_NM = 1e-4  # below lies what the zero line takes off from one sample to the next
MAD_TO_SD = 1.4826  # of normal values
ROUNDED_CHANGE_SD = 1 / math.sqrt(6)  # of the difference of two rounded values, in steps


@dataclass(frozen=True)
class Holds:
    """Where a channel keeps one value while the crank goes on.

    Attributes
    ----------
    stretches : array of shape (stretches, 2)
        First and last sample of each stretch over which the crank travels 20° or more.
    usual_deg : float
        Median travel over which the channel keeps a value; 0 where it has a new one with each sample.
    """

    stretches: NDArray[np.intp]
    usual_deg: float

    @property
    def is_stepped(self) -> bool:
        """Whether values are held as a rule: the channel is measured less often than rows are written."""
        return self.usual_deg >= STEPPED_DEG

    def within(self, first: int, last: int) -> Holds:
        """Return the stretches of a part of the recording, counted from its first sample."""
        low, high = np.maximum(self.stretches[:, 0], first), np.minimum(self.stretches[:, 1], last)
        return Holds(np.column_stack([low, high])[high > low] - first, self.usual_deg)


def find_holds(torque_Nm: FloatArray, crank_rad: FloatArray) -> Holds:
    """Find the stretches in which a channel keeps one value while the crank travels 20° or more.

    Its smallest value is passed over: some recorders clip negative torque on purpose.

    Parameters
    ----------
    torque_Nm, crank_rad : arrays of shape (samples,)
        Torque as measured, before a zero torque is taken off that changes with time.

    Examples
    --------
    >>> find_holds(np.array([1.0, 2.0, 2.0, 2.0, 3.0]), np.radians([0, 10, 20, 30, 40])).stretches
    array([[1, 3]])
    """
    first, last = _runs(torque_Nm)
    travel_deg = np.degrees(crank_rad[last] - crank_rad[first])
    long = (last - first >= FEWEST_HELD - 1) & (travel_deg >= LEAST_HELD_DEG - ROUNDED_DEG)
    if long.any():
        long &= torque_Nm[first] > torque_Nm.min()
    values = torque_Nm.size - int((last - first).sum())
    return Holds(np.column_stack([first, last])[long], _usual_deg(travel_deg, values))


def _runs(torque_Nm: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last sample of each run of two equal values or more."""
    same = np.flatnonzero(torque_Nm[1:] == torque_Nm[:-1])
    starts = np.flatnonzero(np.diff(same, prepend=-2) > 1)
    ends = np.concatenate([starts[1:], [same.size]])[: starts.size] - 1
    return same[starts], same[ends] + 1


def _usual_deg(travel_deg: FloatArray, values: int) -> float:
    """Median travel of all values in a row, of which those that stand alone have none."""
    if values <= FEWEST_CHANGES or 2 * travel_deg.size <= values:
        return 0.0
    return float(np.nanmedian(np.concatenate([np.zeros(values - travel_deg.size), travel_deg])))


def say_stepped(holds: dict[str, Holds]) -> tuple[str, ...]:
    """Say, in a sentence, which channels keep their values as a rule, and what that does."""
    return tuple(
        f"Torque of {channel} keeps each value for {part.usual_deg:.0f}° of the crank (median): it is measured less"
        " often than rows are written. So it is told late by about half of that, and a freeze within a turn does not show."
        for channel, part in holds.items()
        if part.is_stepped
    )


def frozen_holds(
    holds: Holds, torque_Nm: FloatArray, crank_rad: FloatArray, profiles: FloatArray
) -> NDArray[np.intp]:
    """Return those holds of a channel over which it changes in the rider's other turns.

    A live channel, too, keeps one value where torque hardly changes: near a peak, where it is stored in coarse steps. So
    each hold is set beside what the channel usually does between the same angles, from the lowest to the highest place of
    the median profile there. The hold is a fault where the median of that change exceeds one step of the channel by six
    standard deviations (by the median absolute deviation over turns). Holds within three steps of zero are passed over: a
    rider who does not push makes a coarse channel hold, too.

    Parameters
    ----------
    holds : Holds
        Of the channel.
    torque_Nm, crank_rad : arrays of shape (samples,)
        Torque with its zero removed, and right-crank angle.
    profiles : array of shape (turns, 360)
        The channel in turns without another fault, against the right crank.

    Returns
    -------
    array of shape (holds, 2)
        First and last sample of each; none of a stepped channel, and none where fewer than ten turns tell what is usual.
    """
    if holds.is_stepped or len(profiles) < FEWEST_TURNS or not len(holds.stretches):
        return holds.stretches[:0]
    step = _step_Nm(torque_Nm)
    stretches = holds.stretches[np.abs(torque_Nm[holds.stretches[:, 0]]) > NEAR_ZERO_STEPS * step]
    usual = np.median(profiles, axis=0)
    ends_deg = np.degrees(crank_rad[stretches])
    frozen = [_is_frozen(profiles, usual, step, *ends) for ends in ends_deg]
    return stretches[np.array(frozen, dtype=bool)]


def _is_frozen(
    profiles: FloatArray, usual: FloatArray, step: float, first_deg: float, last_deg: float
) -> bool:
    last_deg = min(last_deg, first_deg + usual.size)  # a whole turn holds all there is
    bins = np.arange(math.ceil(first_deg), math.floor(last_deg)) % usual.size
    if not bins.size:
        return False
    low, high = bins[np.argmin(usual[bins])], bins[np.argmax(usual[bins])]
    if usual[high] - usual[low] <= (1 + SPREADS_APART * ROUNDED_CHANGE_SD) * step:
        return False
    changes = profiles[:, high] - profiles[:, low]
    middle = float(np.median(changes))
    spread = MAD_TO_SD * float(np.median(np.abs(changes - middle)))
    return middle - step > SPREADS_APART * max(spread, ROUNDED_CHANGE_SD * step)


def _step_Nm(torque_Nm: FloatArray) -> float:
    """Return the step in which a channel is stored: the smallest change from a sample to the next but for the odd one."""
    changes = np.abs(np.diff(torque_Nm))
    changes = changes[changes > FINEST_STEP_NM]
    return float(np.quantile(changes, 0.01)) if changes.size else 0.0
