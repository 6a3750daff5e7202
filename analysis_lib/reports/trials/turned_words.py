"""What pages say where the crank's speed contradicts the mounts, or the zero of the crank angle."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.reports.trials.turned_trials import TURNED_BY, caution_of
from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.study.checks.alike import FEWEST_TO_GROUP, first_few

COLUMNS = ["rider", "turned_trials", "oval_trials", "turned_deg", "from_deg", "to_deg"]
ALL = "all together"


def turned_riders(trials: pd.DataFrame) -> pd.DataFrame:
    """Count each rider's turned trials, and by how much they are turned; of several riders, all together in the last row.

    Parameters
    ----------
    trials : DataFrame
        With ``rider, mount_deg, state`` and `TURNED_BY`.

    Returns
    -------
    DataFrame
        ``rider, turned_trials, oval_trials, turned_deg`` (median), ``from_deg, to_deg``; no row where no trial is turned.
    """
    if TURNED_BY not in trials or not trials[TURNED_BY].notna().any():
        return pd.DataFrame(columns=COLUMNS)
    oval = trials[(trials["state"] != NOT_USED) & trials["mount_deg"].notna()]
    riders = [(str(rider), here) for rider, here in oval.groupby("rider", sort=False)]
    rows = [(rider, *_turns(here)) for rider, here in riders if here[TURNED_BY].notna().any()]
    together = [(ALL, *_turns(oval))] if len(riders) > 1 else []
    return pd.DataFrame([*rows, *together], columns=COLUMNS)


def _turns(oval: pd.DataFrame) -> tuple[int, int, float, float, float]:
    """Count turned trials and all, and give median and range of the turns, as axes next to one another."""
    turns = oval[TURNED_BY].dropna().to_numpy(float)
    centre = float(np.angle(np.exp(2j * np.radians(turns)).sum(), deg=True)) / 2
    beside = np.sort(np.array([axial_change_deg(turn - centre) for turn in turns]) + centre)
    return len(turns), len(oval), float(np.median(beside)), float(beside[0]), float(beside[-1])


def turn_doubts(trials: pd.DataFrame) -> list[str]:
    """Say in how many of a study's or a rider's trials the crank's speed is that of a turned ring; nothing if in none."""
    riders = turned_riders(trials)
    if riders.empty:
        return []
    total = riders.to_dict("records")[-1]
    return [
        f"In {_counted(total)} the crank's speed is that of a ring turned by {_range(total)} from its mount: mount_deg in"
        " trials.csv, or the zero of the recorded crank angle (angle_offset_deg in study.toml), is wrong by about that."
        f"{_whose(riders)}"
    ]


def _counted(total: Mapping[Hashable, Any]) -> str:
    return f"{total['turned_trials']} of {show_count(total['oval_trials'], 'trial')} on an oval ring"


def _range(turns: Mapping[Hashable, Any]) -> str:
    """Write a median turn, and the range where it is wider than what is printed."""
    low, high = _degrees(turns["from_deg"]), _degrees(turns["to_deg"])
    return f"{_degrees(turns['turned_deg'])} (median{f'; {low} to {high}' if low != high else ''})"


def _whose(riders: pd.DataFrame) -> str:
    """Name the riders where there are others; where it is all trials of all riders, that is said."""
    *each, total = riders.to_dict("records")
    if not each:
        return ""
    if len(each) >= FEWEST_TO_GROUP and total["turned_trials"] == total["oval_trials"]:
        return " These are all riders' trials: look first at what all share."
    said = [
        f"{row['rider']} {_degrees(row['turned_deg'])} ({row['turned_trials']} of"
        f" {show_count(row['oval_trials'], 'trial')})"
        for row in each
    ]
    return f" By rider: {first_few(said)}."


def turn_cautions(trials: pd.DataFrame) -> list[str]:
    """Return what single trials say of this, each text once."""
    found = trials.dropna(subset=[TURNED_BY]) if TURNED_BY in trials else trials.iloc[:0]
    return list(dict.fromkeys(map(caution_of, found.itertuples())))


def first_turn_doubts(trials: pd.DataFrame) -> list[str]:
    """Say before an answer that mounts or crank angles are contradicted, and what of the page rests on them."""
    return [
        f"Not to be relied on as it stands: {said[0].lower()}{said[1:]} If it is the angle, torque phase, wanted mount and"
        " every curve through the turn are turned too; if it is the mount, what is predicted for the oval ring, and what a"
        " meter would show, is that of another mount. Mean power and cadence rest on neither."
        for said in turn_doubts(trials)
    ]


def meter_doubts(trials: pd.DataFrame) -> list[str]:
    """Say that what a meter would show rests on mounts that the recordings contradict; nothing where they do not."""
    riders = turned_riders(trials)
    if riders.empty:
        return []
    total = riders.to_dict("records")[-1]
    return [
        "What such a meter would show is not to be relied on here: it rests on mounts and crank angles that the recordings"
        f" contradict in {_counted(total)}, by {_range(total)}. It is held against no effect; correct mount or angle first."
    ]


def _degrees(turn: float) -> str:
    return f"{show_number(turn, 1, signed=True)}°"
