"""What pages say where the crank's speed contradicts the declared shape of an oval ring."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.reports.trials.rider_trials import NOT_USED
from analysis_lib.reports.trials.ring_shapes import INERTIA_SHARE, RING_FACTOR, shape_caution
from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.study.checks.alike import FEWEST_TO_GROUP, first_few
from analysis_lib.study.declared.settings import StudySettings

ALL = "all together"
COLUMNS = [
    "whose",
    "ring",
    "doubted",
    "oval_trials",
    "factor",
    "from",
    "to",
    "declared",
    "looks",
    "round_swing",
]


def doubted_shapes(settings: StudySettings, trials: pd.DataFrame) -> pd.DataFrame:
    """Count each rider's trials on each doubted oval ring, and how oval it looks; all riders in a ring's last row.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        With ``rider, ring_name, mount_deg, state`` and the columns of `ring_shapes.doubt_shapes`.

    Returns
    -------
    DataFrame
        ``whose, ring, doubted, oval_trials``; ``factor`` (median), ``from, to``: how oval it looks over what is declared;
        ``declared, looks``: axis ratios; ``round_swing``: the swing on the round ring over that of the stated inertia
        (median over riders). No row where no ring is in doubt.
    """
    if RING_FACTOR not in trials or not trials[RING_FACTOR].notna().any():
        return pd.DataFrame(columns=COLUMNS)
    oval = trials[(trials["state"] != NOT_USED) & trials["mount_deg"].notna()]
    rows = []
    for ring, here in oval.groupby("ring_name", sort=False):
        ratio = settings.rings[str(ring)].axis_ratio
        riders = [(str(rider), mine) for rider, mine in here.groupby("rider", sort=False)]
        parts = [*riders, *([(ALL, here)] if len(riders) > 1 else [])]
        rows += [
            (whose, ring, *_factors(mine, ratio)) for whose, mine in parts if mine[RING_FACTOR].notna().any()
        ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _factors(oval: pd.DataFrame, ratio: float) -> tuple[int, int, float, float, float, float, float, float]:
    factors = oval[RING_FACTOR].dropna().to_numpy(float)
    median = float(np.median(factors))
    shares = oval.dropna(subset=[RING_FACTOR]).groupby("rider")[INERTIA_SHARE].first().median()
    return (
        len(factors),
        len(oval),
        median,
        float(factors.min()),
        float(factors.max()),
        ratio,
        ratio_of(median, ratio),
        float(shares),
    )


def ratio_of(factor: float, declared: float) -> float:
    """Return the axis ratio of an ellipse whose arm varies by a factor of what the declared one's does.

    The arm of an ellipse of ratio r varies by (r − 1)/(r + 1) of its mean either way, nearly: 1.21 by 0.095.

    >>> round(ratio_of(0.5, 1.21), 3), ratio_of(1.0, 1.21)
    (1.1, 1.21)
    """
    arm = min(factor * (declared - 1) / (declared + 1), 0.9)
    return (1 + arm) / (1 - arm)


def shape_doubts(settings: StudySettings, trials: pd.DataFrame) -> list[str]:
    """Say of each oval ring in how many trials the crank's speed contradicts its declared shape; nothing if in none."""
    riders = doubted_shapes(settings, trials)
    return [
        _sentence(here.to_dict("records"), len(here) < 2, bool(settings.rings[str(ring)].outline))
        for ring, here in riders.groupby("ring", sort=False)
    ]


def _sentence(rows: list[dict[Hashable, Any]], alone: bool, by_outline: bool) -> str:
    total = rows[-1]
    low, high = show_number(total["from"], 2), show_number(total["to"], 2)
    spread = f"; {low} to {high}" if low != high else ""
    key = "outline" if by_outline else "axis_ratio"
    return (
        f"In {_counted(total)} the crank's speed swings as with a ring {show_number(total['factor'], 2)} times as oval"
        f" (median{spread}): about of axis ratio {show_number(total['looks'], 2)}, where"
        f" {show_number(total['declared'], 2)} is declared. Look at {key} in [rings.{total['ring']}] of study.toml."
        f" {_inertia(total)}{'' if alone else _whose(rows)}"
    )


def _counted(total: Mapping[Hashable, Any]) -> str:
    return f"{total['doubted']} of {show_count(total['oval_trials'], 'trial')} on the ring {total['ring']}"


def _inertia(total: Mapping[Hashable, Any]) -> str:
    """Say what the trials on the round ring tell of the inertia."""
    swing = total["round_swing"]
    if swing != swing:
        return "No trial on the round ring tells the inertia, but none near the stated one explains it."
    return (
        "The inertia does not explain it: it is taken as the round ring shows it, where torque swings the crank's"
        f" speed {show_number(swing, 2)} times as much as with the stated inertia (median)."
    )


def _whose(rows: list[dict[Hashable, Any]]) -> str:
    """Name the riders; where it is all trials of all riders, that is said."""
    *each, total = rows
    if len(each) >= FEWEST_TO_GROUP and total["doubted"] == total["oval_trials"]:
        return " These are all riders' trials on it."
    said = [
        f"{row['whose']} {show_number(row['factor'], 2)} ({row['doubted']} of"
        f" {show_count(row['oval_trials'], 'trial')})"
        for row in each
    ]
    others = sum(row["oval_trials"] for row in each) < total["oval_trials"]
    return (
        f" By rider: {first_few(said)}."
        f"{' Other riders do not contradict the shape: did these ride another ring?' if others else ''}"
    )


def shape_cautions(trials: pd.DataFrame) -> list[str]:
    """Return what single trials say of this, each text once."""
    found = trials.dropna(subset=[RING_FACTOR]) if RING_FACTOR in trials else trials.iloc[:0]
    return list(dict.fromkeys(map(shape_caution, found.itertuples())))


def first_shape_doubts(settings: StudySettings, trials: pd.DataFrame) -> list[str]:
    """Say before an answer that a ring's declared shape is contradicted, and what of the page rests on it."""
    return [
        "What is predicted for an oval ring, and what a meter would show, is not to be relied on as it stands:"
        f" {said[0].lower()}{said[1:]} Measured power, torque and cadence do not rest on the declared shape."
        for said in shape_doubts(settings, trials)
    ]


def shape_meter_doubts(settings: StudySettings, trials: pd.DataFrame) -> list[str]:
    """Say that what a meter would show rests on shapes that the recordings contradict; nothing where they do not."""
    riders = doubted_shapes(settings, trials)
    totals = [here.to_dict("records")[-1] for _, here in riders.groupby("ring", sort=False)]
    return [
        "What such a meter would show is not to be relied on here: it rests on a declared shape that the recordings"
        f" contradict in {_counted(total)}, by which the ring is {show_number(total['factor'], 2)} times as oval. It"
        " is held against no effect; correct the shape first."
        for total in totals
    ]
