"""Whole turns of the crank, cut exactly at top dead centre, each kept or dropped for one counted reason."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals import turn_rules
from analysis_lib.signals.angle_bins import BIN_RAD, BinSums, integrate_by_angle
from analysis_lib.signals.broken_rules import TURN_TOLERANCE, broken_rules
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.turn_rules import REASONS, TurnRules
from analysis_lib.statistics.estimates import show_count

__all__ = ["REASONS", "TurnRules", "Turns", "cut_turns"]

FloatArray = NDArray[np.float64]
SHORTEST_TURN_S = 1e-9  # a recording that ends on a dead centre has not begun another turn


@dataclass(frozen=True)
class Turns:
    """The turns of one recording; dropped turns stay in, with their reason.

    Attributes
    ----------
    number : array of shape (turns,)
        1 for the first turn that begins in the recording; 0 for a part of a turn before it.
    start_s, duration_s : arrays of shape (turns,)
        Time of top dead centre of the right crank, and time until the next.
    profiles : dict of str to array of shape (turns, 360)
        Mean torque (N m) in each degree of the RIGHT crank, by channel: "left", "right", "total". The total
        is there when it was measured or is left + right.
    bin_time_s : array of shape (turns, 360)
        Time spent in each degree.
    reason : array of str of shape (turns,)
        Why the turn was dropped; empty for a kept turn.
    layout : str
        Of the recording.
    rules : TurnRules
        The rules that were applied.
    """

    number: NDArray[np.intp]
    start_s: FloatArray
    duration_s: FloatArray
    profiles: dict[str, FloatArray]
    bin_time_s: FloatArray
    reason: NDArray[np.str_]
    layout: str
    rules: TurnRules

    @cached_property
    def kept(self) -> NDArray[np.bool_]:
        """Which turns broke no rule, shape (turns,)."""
        return self.reason == ""

    @property
    def reasons(self) -> dict[str, int]:
        """How many turns do not count for each reason, in the order in which the reasons are tried."""
        return {reason: int(np.count_nonzero(self.reason == reason)) for reason in REASONS}

    @property
    def dropped(self) -> dict[str, int]:
        """How many whole turns were dropped, by the reasons that occur; parts of turns at either end are none."""
        counts = self.reasons.items()
        return {reason: count for reason, count in counts if count and reason != turn_rules.INCOMPLETE}

    @property
    def two_leg_torque_Nm(self) -> FloatArray:
        """Mean torque of each turn, shape (turns,); the one leg of a one-leg recording counts twice."""
        means = {channel: profile.mean(axis=1) for channel, profile in self.profiles.items()}
        return means["total"] if "total" in means else 2 * next(iter(means.values()))

    def table(self) -> pd.DataFrame:
        """Return one row a turn: turn, start_s, duration_s, cadence_rpm, mean torques, kept, reason."""
        means = {
            "mean_torque_Nm" if channel == "total" else f"mean_torque_{channel}_Nm": profile.mean(axis=1)
            for channel, profile in self.profiles.items()
        }
        return pd.DataFrame(
            {
                "turn": self.number,
                "start_s": self.start_s,
                "duration_s": self.duration_s,
                "cadence_rpm": 60 / self.duration_s,
                **means,
                "kept": self.kept,
                "reason": self.reason,
            }
        )

    def only_kept(self) -> Turns:
        """Return the kept turns alone; refuse when there is none."""
        kept = self.kept
        if not kept.any():
            dropped = show_count(sum(self.dropped.values()), "whole turn")
            raise Refusal(
                what="turns of the trial",
                got=f"all {dropped} dropped ({turn_rules.counted(self.dropped)})"
                if self.dropped
                else "no whole turn",
                wanted="at least one whole turn that breaks no rule",
                remedy="look at the recording; change a rule only for a reason that you can state",
                scope="trial",
            )
        if kept.all():
            return self
        return Turns(
            number=self.number[kept],
            start_s=self.start_s[kept],
            duration_s=self.duration_s[kept],
            profiles={channel: profile[kept] for channel, profile in self.profiles.items()},
            bin_time_s=self.bin_time_s[kept],
            reason=self.reason[kept],
            layout=self.layout,
            rules=self.rules,
        )


def cut_turns(recording: Recording, rules: TurnRules | None = None) -> Turns:
    """Cut a recording into turns and decide which count.

    A turn runs from top dead centre of the right crank to the next, found by linear interpolation between
    samples; see `integrate_by_angle` for what happens inside. Where the angle jitters about a dead centre the
    time on either side of it goes to either turn, so that the turns tile the recording.

    Parameters
    ----------
    recording : Recording
        With its zero torque removed.
    rules : TurnRules, optional
        The default rules when left out.

    Returns
    -------
    Turns

    Examples
    --------
    Ten seconds at one turn a second and 10 N m: nine whole turns after the part before the first dead centre.

    >>> time = np.arange(0, 10, 0.01)
    >>> crank = 2 * np.pi * (time - 0.25)
    >>> recording = Recording(time, crank, {"total": 10 + 5 * np.cos(crank)})
    >>> turns = cut_turns(recording)
    >>> print(turns.kept.sum(), turns.reasons["incomplete"], turns.start_s[1].round(6))
    9 2 0.25
    """
    rules = rules or TurnRules()
    sums = integrate_by_angle(recording.time_s, recording.crank_rad, list(recording.torque.values()))
    duration = sums.time_s.sum(axis=1)
    begun = slice(int(duration[0] < SHORTEST_TURN_S), duration.size - int(duration[-1] < SHORTEST_TURN_S))
    profiles = _bin_means(sums, recording, begun)
    start = recording.time_s[0] + np.concatenate([[0.0], np.cumsum(duration)[:-1]])
    number = sums.first_turn + np.arange(duration.size) - first_whole_turn(recording) + 1
    turns = Turns(
        number=number[begun],
        start_s=start[begun],
        duration_s=duration[begun],
        profiles=profiles,
        bin_time_s=sums.time_s[begun],
        reason=np.zeros(number[begun].size, dtype="U24"),
        layout=recording.layout,
        rules=rules,
    )
    broken = broken_rules(recording, turns, sums.first_turn + begun.start, sums.growing)
    for reason in reversed(REASONS):
        turns.reason[broken[reason]] = reason
    return turns


def _bin_means(sums: BinSums, recording: Recording, begun: slice) -> dict[str, FloatArray]:
    for work in sums.work_J:
        work /= BIN_RAD
    profiles = {channel: work[begun] for channel, work in zip(recording.torque, sums.work_J, strict=True)}
    if "total" not in profiles and len(profiles) == 2:
        profiles["total"] = profiles["left"] + profiles["right"]
    return profiles


def first_whole_turn(recording: Recording) -> int:
    """Return which turn of the unwrapped angle is the first to begin in a recording; its number is 1."""
    return math.ceil(recording.crank_rad[0] / (2 * math.pi) - TURN_TOLERANCE)
