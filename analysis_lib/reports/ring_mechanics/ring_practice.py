"""The practice claim that an indoor result may sit a mounting hole away from the road, beside the model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis_lib.mechanics.inertia import with_crank_inertia
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit
from analysis_lib.reports.figures.mechanics_figures import mount_shift_curves
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.reports.ring_mechanics.ring_environment import road_and_ergometer
from analysis_lib.statistics.estimates import show_number

CRANK_LOADS_KGM2 = (1.5, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 40.0, 80.0)
STEEP_PCT_PER_RPM = (1.2, 2.5, 5.0)
"""Power held at any cadence near 85 rpm; and steeper, up to torque that is gone 20 rpm faster."""


def mount_shifts(rings: RingComparison, body_mass_kg: float) -> pd.DataFrame:
    """Shift of the wanted mount from ergometer to road over inertia and torque–speed slope.

    Returns
    -------
    DataFrame
        ``lost_pct_per_rpm, crank_load_kgm2, mount_shift_deg``; NaN where no steady turn is found.
    """
    losses = sorted({rings.slope.lost_at(rings.cadence_rpm), *STEEP_PCT_PER_RPM})
    rows = [
        {
            "lost_pct_per_rpm": lost,
            "crank_load_kgm2": load,
            "mount_shift_deg": _shift_deg(replace(rings, slope=StrokeSlope(lost)), body_mass_kg, load),
        }
        for lost in losses
        for load in CRANK_LOADS_KGM2
    ]
    return pd.DataFrame(rows)


def _shift_deg(rings: RingComparison, body_mass_kg: float, crank_load_kgm2: float) -> float:
    """The wanted mount moves against the torque phase; both are those of the round ring."""
    alone = replace(rings, drivetrains={"round": rings.drivetrains["round"]})
    flywheel = with_crank_inertia(rings.drivetrains["round"], crank_load_kgm2).wheel_inertia_kgm2
    try:
        return road_and_ergometer(alone, body_mass_kg, flywheel)["round"].torque_phase_shift_deg
    except Refusal:
        return float("nan")


def hole_step_deg(mounts_deg: list[float]) -> float | None:
    """The smallest step between neighbouring mounts; None of a ring with one mount."""
    if len(mounts_deg) < 2:
        return None
    return float(np.diff(sorted(mounts_deg)).min())


def practice(rings: RingComparison, shifts: pd.DataFrame, mounts_deg: list[float]) -> list[str]:
    """Say when the model agrees that the indoor result sits up to one mounting hole away from the road."""
    step = hole_step_deg(mounts_deg)
    if step is None:
        return ["The ring has one mount, so nothing can sit a hole away."]
    known = shifts.dropna().sort_values("mount_shift_deg", key=abs)
    at_hand = known[known["lost_pct_per_rpm"] == rings.slope.lost_at(rings.cadence_rpm)]["mount_shift_deg"]
    far = known.iloc[-1]
    most = show_number(float(at_hand.iloc[-1]), 1, signed=True)
    reached = shifts[shifts["mount_shift_deg"].abs() > step / 2]
    start = (
        "Practice says that an indoor result may sit up to one mounting hole away from the road (common practice, no"
        f" source); here a hole is {step:g}°, and another hole is nearest once the wanted mount moves by half of that."
        f" With the slope at hand mechanics moves it by {most}° at most."
    )
    if reached.empty:
        return [
            f"{start} Even with {far['lost_pct_per_rpm']:g} % per rpm it is"
            f" {show_number(float(far['mount_shift_deg']), 1, signed=True)}°: the model agrees that the shift is less than"
            " a hole, and gives no reason of its own for a whole one."
        ]
    least = float(reached["lost_pct_per_rpm"].min())
    return [
        f"{start} Another hole is reached only with {least:g} % per rpm or more and a crank inertial"
        f" load of {reached['crank_load_kgm2'].max():g} kg·m² or less."
    ]


def practice_exhibit(shifts: pd.DataFrame, mounts_deg: list[float]) -> FigureExhibit:
    """Draw the shift of the wanted mount over inertia and slope."""
    step = hole_step_deg(mounts_deg)
    return FigureExhibit(
        "mount_shift",
        mount_shift_curves(shifts, None if step is None else step / 2),
        "How far the wanted mount moves from an ergometer to the road by mechanics alone, against the ergometer's"
        " crank inertial load, for several torque–speed slopes. Shaded: within half a step between the ring's holes,"
        " where the same hole stays nearest.",
        "Line chart of the shift of the wanted mount in degrees against crank inertial load, one line a slope; largest"
        f" shift {show_number(float(shifts['mount_shift_deg'].abs().max()), 1)} degrees.",
        shifts,
    )
