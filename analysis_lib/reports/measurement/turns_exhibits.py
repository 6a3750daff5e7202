"""How many turns make the mean of a trial."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.repeatability_figures import mean_against_turns
from analysis_lib.reports.measurement.repeatability_exhibits import error_of
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.statistics.reliability import turns_needed

SHARES_OF_ERROR = {1.0: "±1 typical error", 0.5: "±½", 0.25: "±¼"}
"""How sure the mean of a trial is to be, in typical errors between periods."""


def turns_table(repeats: RepeatedTrials) -> TableExhibit:
    """Say how many turns make the mean of a trial as sure as a share of the typical error."""
    rows = []
    for intensity in repeats.intensities:
        error = error_of(repeats, intensity, "round").value
        trials = spread_between_turns(repeats, intensity)
        counts: list[float] = []
        for share in SHARES_OF_ERROR:
            needed = _turns_needed(trials, share * error)
            counts += [float(np.median(needed)), max(needed)]
        middle = (trials["turn_sd"].median(), trials["share"].median(), trials["n_turns"].median())
        rows.append((intensity, error, *middle, *counts))
    names = [f"{kind}_{share:g}" for share in SHARES_OF_ERROR for kind in ("median", "most")]
    frame = pd.DataFrame(rows, columns=["intensity", "error", "turn_sd", "share", "kept", *names])
    return TableExhibit(
        "turns_needed",
        frame,
        f"{repeats.name_with_unit}: turns after which the 95 % interval of a trial's mean is no wider than ± a share"
        " of the typical error between periods (round ring), for the middle trial and the worst. The independent share is"
        " from the trials' own series. Where fewer turns are kept than ±½ asks for, longer trials would repeat better.",
        {
            "error": "typical error",
            "turn_sd": "SD between turns",
            "share": "independent share",
            "kept": "turns kept",
        }
        | {f"median_{share:g}": f"{words}: middle trial" for share, words in SHARES_OF_ERROR.items()}
        | {f"most_{share:g}": f"{words}: worst trial" for share, words in SHARES_OF_ERROR.items()},
        {"error": 2, "turn_sd": 2, "share": 2, "kept": 0} | dict.fromkeys(names, 0),
    )


def _turns_needed(trials: pd.DataFrame, margin: float) -> list[int]:
    """Turns that each trial would need; neighbours that alternate count as independent, never as more."""
    spreads = zip(trials["turn_sd"].to_numpy(float), trials["share"].to_numpy(float), strict=True)
    return [turns_needed(sd, margin, independent_share=min(share, 1.0)) for sd, share in spreads]


def spread_between_turns(repeats: RepeatedTrials, intensity: str) -> pd.DataFrame:
    """Return ``trial, turn_sd, share, n_turns`` of the trials whose quantity has a series of turns.

    The SD between turns is se · sqrt(effective turns); the share is effective over kept turns.

    Raises
    ------
    Refusal
        When the quantity has no series of turns, such as an outcome of trials.csv.
    """
    trials = repeats.trials[repeats.trials["intensity"] == intensity]
    known = trials[(trials["se"] > 0) & (trials["n_effective"] > 0)]
    if known.empty:
        raise Refusal(
            f"turns of {repeats.quantity}",
            "no standard error from turns",
            "a quantity measured turn by turn",
            "choose a quantity of the recordings, such as power_W",
        )
    return known[["trial"]].assign(
        turn_sd=known["se"] * np.sqrt(known["n_effective"]),
        share=known["n_effective"] / known["n_turns"],
        n_turns=known["n_turns"],
    )


def running_mean_exhibit(repeats: RepeatedTrials) -> FigureExhibit:
    """Draw how the mean of a trial settles turn by turn, for one trial an intensity of the first rider."""
    frames = [_running_mean(repeats, intensity) for intensity in repeats.intensities]
    frame = pd.concat(frames, ignore_index=True)
    trials = ", ".join(map(str, frame["trial"].unique()))
    return FigureExhibit(
        "running_mean",
        mean_against_turns(frame, repeats.unit),
        f"{repeats.name_with_unit}: mean of the turns so far, less the mean of the whole trial ({trials}). Shaded: ±"
        " the typical error between periods at that intensity. Once inside for good, more turns tell little more about"
        " the rider.",
        f"Line chart of running means against turns, {len(frames)} trials, with the typical error shaded.",
        frame,
    )


def _running_mean(repeats: RepeatedTrials, intensity: str) -> pd.DataFrame:
    rows = repeats.trials
    trial = rows[(rows["intensity"] == intensity) & (rows["ring"] == "round")].iloc[0]
    turns = repeats.riders[trial["rider"]].results[trial["trial"]].turns
    if repeats.quantity not in turns:
        raise Refusal(
            f"turns of {repeats.quantity}", "no series of turns", "one row a turn", "choose another quantity"
        )
    series = turns[repeats.quantity].dropna().to_numpy(dtype=float)
    count = np.arange(1, len(series) + 1)
    away = np.cumsum(series) / count - series.mean()
    error = error_of(repeats, intensity, "round").value
    return pd.DataFrame(
        {"intensity": intensity, "trial": trial["trial"], "turns": count, "away": away, "error": error}
    )
