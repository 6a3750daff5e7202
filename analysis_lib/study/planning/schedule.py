"""The schedule of a planned study: visits, periods, rings, and the order of intensities."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.statistics.allocation import order_intensities
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.planning.allocation_list import derived_seed

FAMILIARISATION, TRIAL = "familiarisation", "trial"
FOR_INTENSITIES, FOR_FAMILIARISATION = 2, 3
REST_RULE = "from the first ride of a period to the first of the next"
"""What a rest is in schedule, protocol and comparison; the rides of a period take part of it."""
COLUMNS = ["rider", "label", "visit", "period", "ride", "place", "ring", "intensity", "rest_before_h"]


def make_schedule(settings: StudySettings, allocation: pd.DataFrame) -> pd.DataFrame:
    """Write out every ride of every rider.

    Each rider first rides every ring once to get used to it (visit 0, period 0), for a first ride on an
    unfamiliar ring is not the ring's effect. Half of the riders begin that with either ring. Then come the
    periods of the rider's sequence, with the intensities in an order that stays the same in all of the
    rider's periods and is counterbalanced over riders (Williams design).

    Parameters
    ----------
    settings : StudySettings
        With a plan.
    allocation : DataFrame
        rider, label, sequence; see `allocation_list.draw_allocation`.

    Returns
    -------
    DataFrame
        One row a ride: rider, label, visit, period, ride ("familiarisation" or "trial"), place within the
        period, ring, intensity, and rest_before_h, the shortest time since the period before began: at a period's
        first ride, and empty at all others.
    """
    riders = [str(rider) for rider in allocation["rider"]]
    seed = settings.planned.allocation_seed
    first_rings = _in_order(riders, list(settings.rings), derived_seed(seed, FOR_FAMILIARISATION))
    intensities = _in_order(riders, settings.intensity_names, derived_seed(seed, FOR_INTENSITIES))
    rows = []
    for row in allocation.itertuples():
        who = (row.rider, row.label)
        rides = _get_used(first_rings[str(row.rider)], settings.intensity_names[0])
        rides += _ride_periods(settings, str(row.sequence), intensities[str(row.rider)])
        rows += [(*who, *ride) for ride in rides]
    return pd.DataFrame(rows, columns=COLUMNS)


def conceal_schedule(schedule: pd.DataFrame) -> pd.DataFrame:
    """Leave of a schedule what the staff who meet the riders may know: all but the rings."""
    return schedule.drop(columns="ring")


def _get_used(rings: list[str], intensity: str) -> list[tuple]:
    return [
        (0, 0, FAMILIARISATION, place, ring, intensity, math.nan) for place, ring in enumerate(rings, start=1)
    ]


def _ride_periods(settings: StudySettings, sequence: str, intensities: list[str]) -> list[tuple]:
    plan = settings.planned
    rests_h = [plan.washout_hours, *[math.nan] * (len(intensities) - 1)]
    return [
        ((period - 1) // plan.periods_a_visit + 1, period, TRIAL, place, ring, intensity, rests_h[place - 1])
        for period, ring in enumerate(settings.design.sequences[sequence], start=1)
        for place, intensity in enumerate(intensities, start=1)
    ]


def _in_order(riders: list[str], conditions: list[str], seed: int) -> dict[str, list[str]]:
    """Give each rider an order of the conditions; a single condition has but one."""
    if len(conditions) == 1:
        return dict.fromkeys(riders, conditions)
    orders = order_intensities(riders, conditions, seed)
    return {str(rider): list(rows["intensity"]) for rider, rows in orders.groupby("rider", sort=False)}
