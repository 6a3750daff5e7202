"""Figures and tables of the notebook on one trial."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.trial_figures import mean_stroke, raw_stretch, turn_series
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import TrialResult


def raw_exhibit(recording: Recording, seconds: float = 2.0) -> FigureExhibit:
    """Draw the first seconds of a recording as it was written."""
    elapsed = recording.time_s - recording.time_s[0]
    shown = elapsed <= seconds
    frame = pd.DataFrame({"time_s": elapsed[shown], **{c: t[shown] for c, t in recording.torque.items()}})
    turns = recording.crank_rad[shown] / (2 * np.pi)
    whole = np.arange(np.ceil(turns.min()), np.floor(turns.max()) + 1)
    dead_centres = np.interp(whole, turns, frame["time_s"])
    return FigureExhibit(
        "raw",
        raw_stretch(frame, dead_centres),
        f"The first {seconds:g} s as recorded, zero torque still in it; dots are samples, grey lines top dead"
        " centres of the right crank. Look for flat tops, gaps and spikes.",
        f"Line chart of recorded torque against time over {seconds:g} seconds, one line a channel.",
        frame,
    )


def reasons_table(result: TrialResult) -> TableExhibit:
    """Count the turns by what became of them."""
    rows = [("kept", result.quality["kept_turns"]), *result.reasons.items()]
    return TableExhibit(
        "reasons",
        pd.DataFrame(rows, columns=["turns", "count"]),
        "What became of each turn. Incomplete: the parts of turns at either end of the recording, which are neither kept"
        " nor dropped. A turn that breaks several rules is counted under the first of them, in this order.",
    )


def profile_exhibit(result: TrialResult) -> FigureExhibit:
    """Draw the mean stroke of each channel with its interval."""
    frames = []
    for channel in result.kept.profiles:
        profile = result.profile(channel)
        mean, se = (_against_right_crank(values, profile.crank) for values in (profile.mean, profile.se))
        frames.append(
            pd.DataFrame(
                {
                    "channel": channel,
                    "crank_deg": profile.crank_deg,
                    "mean": mean,
                    "low": mean - 1.96 * se,
                    "high": mean + 1.96 * se,
                }
            )
        )
    frame = pd.concat(frames, ignore_index=True)
    return FigureExhibit(
        "stroke",
        mean_stroke(frame),
        f"Mean torque through the turn against the right crank (n = {result.quality['kept_turns']} turns);"
        " band: mean ± 1.96 standard errors at each degree on its own, neighbouring turns allowed for.",
        "Line chart of mean torque against crank angle, one line a channel with a narrow band.",
        frame,
    )


def _against_right_crank(values: np.ndarray, crank: str) -> np.ndarray:
    return np.roll(values, values.size // 2) if crank == "left" else values


def turns_exhibit(result: TrialResult) -> FigureExhibit:
    """Draw power and cadence turn by turn."""
    frame = result.turns[["start_s", "power_W", "cadence_rpm"]]
    return FigureExhibit(
        "turns",
        turn_series(frame),
        "Power and cadence of each kept turn. Look for a drift, a step, or waves: neighbours that resemble"
        " each other carry less information than their number says.",
        "Two line charts over time: power and cadence turn by turn.",
        frame,
    )


def summary_table(result: TrialResult) -> TableExhibit:
    """Give every quantity with its standard error."""
    frame = result.summary[["quantity", "value", "unit", "se", "n_turns", "n_effective", "note"]]
    plain = ~frame["quantity"].str.startswith("harmonic_")
    return TableExhibit(
        "summary",
        frame[plain].reset_index(drop=True),
        "Every quantity of the trial: mean over kept turns, standard error that allows for correlation from"
        " turn to turn, and the number of independent turns that would be as informative: more than there are where a"
        " high turn tends to be followed by a low one.",
        {"n_turns": "turns", "n_effective": "effective turns", "se": "standard error"},
        {"n_effective": 0},
    )
