"""Whether a trial's power and torque can have come from a rider."""

from __future__ import annotations

import math

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.turn_rules import GAP, NO_TORQUE, SATURATED, STUCK
from analysis_lib.signals.units import UNITS_BY_QUANTITY
from analysis_lib.statistics.estimates import show_number

HIGHEST_POWER_W = 2500.0
"""Above the highest published power within a sprint, 2137 W at one instant (Martin et al. 1997, MSSE 29:1505)."""

HIGHEST_MEAN_TORQUE_NM = 300.0
"""Above twice the torque at greatest power, 2 · 118.5 N·m, which a straight torque-velocity line reaches at a standstill
(Dorel et al. 2005, Int J Sports Med 26:739)."""

HIGHEST_STEADY_POWER_W, MOST_WORK_ABOVE_J = 500.0, 50e3
"""Power that can last is a steady part and a store of work above it, P(t) = CP + W′/t. Both are set above what is
published: the hour record of 1996 was ridden at 442 W (Bassett et al. 1999, MSSE 31:1665, from memory), and stores of
trained riders lie between 10 and 35 kJ (Jones et al. 2010, MSSE 42:1876, from memory)."""

RECORD_STEADY_POWER_W, RECORD_WORK_ABOVE_J = 510.0, 35e3
"""The largest estimate for an hour record (1994; Bassett et al. 1999, from memory) and the largest store: a caution above,
no refusal, for a record may fall."""

FAINTEST_POWER_W = 25.0
"""Ergometers brake no less than this, or not steadily; common practice, no source."""

_TORQUE = UNITS_BY_QUANTITY["torque"]
OTHER_UNITS = (
    f"pounds-force inch declared as N·m read {1 / _TORQUE['lbf in']:.2f} times too much, kilogram-force centimetres"
    f" {1 / _TORQUE['kgf cm']:.1f} times, millinewton metres 1000 times; pounds-force foot are"
    f" {1 / _TORQUE['lbf ft']:.2f} times the N·m"
)
"""What a wrong unit does, by the factors of NIST SP 811, appendix B.8."""

WRONG_UNIT = f"look at unit and scale of the torque columns in study.toml: one of them is probably wrong ({OTHER_UNITS})"

THOUSAND_TIMES_W = 20_000.0
"""A thousand times the power at which an ergometer hardly brakes; 8.85 times a record is less."""

THOUSANDTHS = (
    "the values look 1000 times too large: if the recorder stores thousandths, say scale = 0.001 in the column's entry in"
    " study.toml, or declare its unit mN m"
)

NO_TORQUE_HINT = (
    "look at unit and scale of the torque columns (N·m declared as mN·m read 1000 times too little, as pounds-force inch"
    f" {1 / _TORQUE['lbf in']:.2f} times, as kilogram-force centimetres {1 / _TORQUE['kgf cm']:.1f} times)"
)
NEGATIVE_HINT = (
    "look at the sign of {channels} (where the recorder counts driving torque as negative, scale = -1 in the column's entry"
    " in study.toml), at the direction of the crank angle and at the zero checks; where other recordings of this recorder"
    " are positive, at how this file was stored"
)
SATURATED_HINT = (
    "look at full_scale_Nm, and at unit and scale of the torque columns (a channel read many times too large is beyond its"
    " full scale)"
)
SPARSE_HINT = "look at the unit of time_s (milliseconds declared as s look 1000 times too large: unit ms, or scale = 0.001)"


def highest_power_W(duration_s: float) -> float:
    """Return the mean power that no rider exceeds for as long, W.

    Examples
    --------
    500 + 50 000/100 for 100 s, and a sprint's for less than 25 s:

    >>> highest_power_W(100.0), highest_power_W(10.0)
    (1000.0, 2500.0)
    """
    return min(HIGHEST_POWER_W, HIGHEST_STEADY_POWER_W + MOST_WORK_ABOVE_J / duration_s)


def check_plausible(turns: Turns, name: str) -> list[str]:
    """Refuse a trial whose power or torque no rider can give for as long: its unit or scale is declared wrongly.

    Parameters
    ----------
    turns : Turns
        The kept turns.
    name : str
        Of the recording.

    Returns
    -------
    list of str
        A caution where the power is less than hardly any trial asks for, or more than was published for as long.

    Raises
    ------
    Refusal
        With scope trial. Nothing is corrected: a unit is never guessed.
    """
    torque = turns.two_leg_torque_Nm
    duration = float(turns.duration_s.sum())
    power = float(2 * math.pi * torque.sum() / duration)
    mean, limit = float(np.median(torque)), highest_power_W(duration)
    if abs(power) > limit or abs(mean) > HIGHEST_MEAN_TORQUE_NM:
        raise Refusal(
            f"{name or 'trial'}, torque",
            f"a mean of {mean:.4g} N·m, so {power:.4g} W for {duration:.0f} s",
            f"at most {HIGHEST_MEAN_TORQUE_NM:.0f} N·m, and {limit:.0f} W for as long, more than any rider gives",
            THOUSANDTHS if abs(power) > THOUSAND_TIMES_W else WRONG_UNIT,
            scope="trial",
        )
    record = min(HIGHEST_POWER_W, RECORD_STEADY_POWER_W + RECORD_WORK_ABOVE_J / duration)
    if abs(power) > record:
        return [
            f"The power is {power:.4g} W for {duration:.0f} s, more than the {record:.0f} W that records and the largest"
            f" published stores of work give for as long: {WRONG_UNIT}."
        ]
    if abs(power) >= FAINTEST_POWER_W:
        return []
    return [
        f"The power is {power:.3g} W, less than almost any trial asks for: {NO_TORQUE_HINT}, at the zero torque and at the"
        " sign."
    ]


def fault_hint(turns: Turns) -> str:
    """Name the sign or unit to look at where most turns were dropped for what a wrong one does; empty otherwise."""
    negative = _negative_hint(turns)
    if negative:
        return negative
    hints = {NO_TORQUE: NO_TORQUE_HINT, STUCK: NO_TORQUE_HINT, GAP: SPARSE_HINT, SATURATED: SATURATED_HINT}
    most = [hint for reason, hint in hints.items() if 2 * turns.reasons.get(reason, 0) > turns.reason.size]
    return f"{most[0]}; " if most else ""


def _negative_hint(turns: Turns) -> str:
    """Say that the torque is negative, where it is in most turns by more than the least mean torque."""
    least = -turns.rules.min_mean_torque_Nm
    without = turns.reason == NO_TORQUE
    if (
        2 * np.count_nonzero(without) <= turns.reason.size
        or np.median(turns.two_leg_torque_Nm[without]) >= least
    ):
        return ""
    means = {name: np.median(profile[without].mean(axis=1)) for name, profile in turns.profiles.items()}
    each = ", ".join(f"{name} {show_number(mean, 1)} N·m" for name, mean in means.items())
    wrong = (
        " and ".join(name for name, mean in means.items() if mean < least and name != "total") or "the torque"
    )
    return f"the torque is negative (mean of a turn: {each}): {NEGATIVE_HINT.format(channels=wrong)}; "
