"""A trial analysed: from its recording to measures with their uncertainty, and what to know about them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_checks import check_leg_timing, check_sides
from analysis_lib.signals.pedal_force import mean_radial_profiles
from analysis_lib.signals.plausibility import check_plausible, fault_hint
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns, cut_turns
from analysis_lib.signals.stroke import (
    own_crank_mean,
    own_crank_profiles,
    smooth_bin_time,
    what_is_unknown,
)
from analysis_lib.signals.torque_bootstrap import draw_mean_profiles
from analysis_lib.signals.torque_profile import Profile, torque_at_edges
from analysis_lib.signals.trial_measures import measure_turns
from analysis_lib.signals.trial_quality import cautions_of, quality_row
from analysis_lib.signals.trial_summary import second_harmonics, summarise_turns
from analysis_lib.signals.turn_rules import TurnRules
from analysis_lib.signals.turn_series import standard_errors
from analysis_lib.signals.zero_torque import ZeroLine, remove_zero_torque
from analysis_lib.statistics.serial import FEWEST, block_length

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class TrialResult:
    """What one trial says.

    Attributes
    ----------
    name : str
        Of the recording.
    layout : str
        "two legs", "total only", "left only" or "right only".
    turns : DataFrame
        One row a kept turn, from `turn_measures`.
    summary : DataFrame
        One row a quantity, from `summarise_turns`.
    reasons : dict of str to int
        Turns that do not count, by reason: whole ones that were dropped, and incomplete ones at either end.
    assumptions : list of str
        What had to be assumed, and what the channels cannot tell.
    cautions : list of str
        Why the result is weaker than usual.
    quality : dict
        What the recording can carry: a row of the data-quality table.
    kept : Turns
        The kept turns with their profiles.
    radial_N : dict of str to array of shape (360,)
        Mean force along the crank in each degree, by leg, where it was recorded; see `mean_radial_profiles`.
    """

    name: str
    layout: str
    turns: pd.DataFrame
    summary: pd.DataFrame
    reasons: dict[str, int]
    assumptions: list[str]
    cautions: list[str]
    quality: dict[str, float | int | str]
    kept: Turns
    radial_N: dict[str, FloatArray] = field(default_factory=dict)

    def value(self, quantity: str) -> float:
        """Return a quantity's value; refuse one that this trial's channels cannot tell."""
        return self._told(quantity)[0]

    def note(self, quantity: str) -> str:
        """Return what is to be said of a quantity, often nothing; refuse one that this trial's channels cannot tell."""
        return self._told(quantity)[1]

    def _told(self, quantity: str) -> tuple[float, str]:
        if quantity not in self._value_and_note:
            raise self._unknown(quantity, "one of " + ", ".join(self.summary["quantity"]))
        return self._value_and_note[quantity]

    @cached_property
    def _value_and_note(self) -> dict[str, tuple[float, str]]:
        """By quantity; taken from the table once, because pages ask for some again and again."""
        columns = (self.summary[name].tolist() for name in ("quantity", "value", "note"))
        return {
            quantity: (float(value), str(note or "")) for quantity, value, note in zip(*columns, strict=True)
        }

    def profile(self, channel: str = "total") -> Profile:
        """Return the torque profile of a channel against its own crank, with standard errors."""
        rows = own_crank_profiles(self.kept, self._known(channel))
        errors, _, remark = standard_errors(np.ascontiguousarray(rows.T))
        return Profile(
            channel=channel,
            crank="left" if channel == "left" else "right",
            crank_deg=np.arange(0.5, rows.shape[1]),
            mean=rows.mean(axis=0),
            se=np.array(errors),
            n_turns=len(rows),
            method="mean over turns of each degree's mean torque" + remark,
        )

    def torque_at_angles(self, channel: str = "total") -> FloatArray:
        """Return the mean torque at 0, 1, ..., 359 degrees of the channel's own crank, N m."""
        return torque_at_edges(own_crank_mean(self.kept, self._known(channel)))

    def radial_at_angles(self, leg: str) -> FloatArray:
        """Return a leg's mean force along its crank at 0, 1, ..., 359 degrees of that crank, N towards the axis."""
        if leg not in self.radial_N:
            raise self._unknown(
                f"radial force of the {leg} pedal", "both components of the force on the pedal"
            )
        return torque_at_edges(self.radial_N[leg])

    def speed_at_angles(self) -> FloatArray:
        """Return the mean crank speed at 0, 1, ..., 359 degrees of the right crank, rad/s.

        One degree over the mean time it takes, smoothed to eight harmonics.
        """
        return np.radians(1 / torque_at_edges(smooth_bin_time(self.kept.bin_time_s.mean(axis=0))))

    def torque_draws(self, draws: int, seed: int) -> FloatArray:
        """Return circular block-bootstrap draws of the mean two-leg torque at 0, 1, ..., 359 degrees, N m.

        Blocks are as long as the second harmonic remembers. Their spread is that of turns within this trial; how much
        the rider differs from one day to the next is not in it.

        Returns
        -------
        array of shape (draws, 360)
        """
        length = self._block_length()
        profiles = torque_at_edges(self.kept.profiles["total"])
        return draw_mean_profiles(profiles, length, draws, np.random.default_rng(seed))

    def _block_length(self) -> int:
        """Turns within which the second harmonic of the two-leg torque remembers."""
        self._known("total")
        harmonics = second_harmonics(self.turns)
        if harmonics.size < 2:
            raise self._unknown("the spread of the torque phase", "two kept turns or more")
        across = np.imag(harmonics * np.conj(harmonics.mean()))
        return math.ceil(block_length(across)) if across.size >= FEWEST else 1

    def _known(self, channel: str) -> str:
        if channel in self.kept.profiles:
            return channel
        raise self._unknown(f"torque of channel {channel!r}", "one of " + ", ".join(self.kept.profiles))

    def _unknown(self, what: str, wanted: str) -> Refusal:
        return Refusal(
            what=f"{self.name or 'trial'}, {what}",
            got=f"a recording of {self.layout} with {len(self.turns)} kept turns, which cannot tell it",
            wanted=wanted,
            remedy="ask for a quantity that was measured, or record the missing channel",
            scope="trial",
        )


def analyse_trial(
    recording: Recording, zero_line: ZeroLine | None = None, rules: TurnRules | None = None
) -> TrialResult:
    """Analyse one trial.

    Parameters
    ----------
    recording : Recording
        As read, its zero torque still in it.
    zero_line : ZeroLine, optional
        From `zero_torque.zero_line`; left out, the zero torque counts as already removed.
    rules : TurnRules, optional
        The default rules when left out.

    Returns
    -------
    TrialResult

    Raises
    ------
    Refusal
        When every turn was dropped, with the count of each reason, or the torque is more than a rider's.
    """
    if zero_line is not None:
        recording = remove_zero_torque(recording, zero_line)
    return analyse_corrected(recording, zero_line, rules)


def analyse_corrected(
    recording: Recording, zero_line: ZeroLine | None = None, rules: TurnRules | None = None
) -> TrialResult:
    """Analyse a recording that has lost its zero torque already; `zero_line` only tells how far it drifted."""
    rules = rules or TurnRules()
    turns = cut_turns(recording, rules)
    kept = _kept_or_refuse(turns, recording.name)
    faint = check_plausible(kept, recording.name)
    measures = measure_turns(recording, kept)
    return TrialResult(
        name=recording.name,
        layout=recording.layout,
        turns=measures,
        summary=summarise_turns(measures),
        reasons=turns.reasons,
        assumptions=[*recording.assumptions, *what_is_unknown(recording.layout)],
        cautions=[
            *recording.cautions,
            *cautions_of(turns),
            *faint,
            *check_sides(kept),
            *check_leg_timing(kept),
        ],
        quality=quality_row(recording, turns, zero_line),
        kept=kept,
        radial_N=mean_radial_profiles(recording, kept, recording.pedal_forces) if recording.radial_N else {},
    )


def _kept_or_refuse(turns: Turns, name: str) -> Turns:
    try:
        return turns.only_kept()
    except Refusal as refusal:
        refusal.what = f"{name or 'trial'}, turns"
        refusal.remedy = fault_hint(turns) + refusal.remedy
        raise
