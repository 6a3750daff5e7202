"""The same stroke on the road and on a light ergometer, on one ring."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.environments import EnvironmentShift, compare_environments
from analysis_lib.mechanics.inertia import with_rider
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.reports.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import environment_panels
from analysis_lib.reports.ring_comparison import RingComparison
from analysis_lib.reports.road_shift import BICYCLE_KG, WHEEL_RADIUS_M

Shifts = dict[str, EnvironmentShift]


def road_and_ergometer(rings: RingComparison, body_mass_kg: float, ergometer_kgm2: float) -> Shifts:
    """Solve one stroke on the road and on an ergometer, for each ring.

    Parameters
    ----------
    rings : RingComparison
    body_mass_kg : float
        Of the rider; bicycle and clothes come on top.
    ergometer_kgm2 : float
        Inertia of the flywheel as the sprocket feels it.

    Returns
    -------
    dict of role to EnvironmentShift
    """
    return {role: _shift(rings, role, body_mass_kg, ergometer_kgm2) for role in rings.drivetrains}


def _shift(rings: RingComparison, role: str, mass_kg: float, ergometer_kgm2: float) -> EnvironmentShift:
    drivetrain = rings.drivetrains[role]
    stroke = make_stroke(rings.torque_Nm, rings.speeds["round"], rings.slope_Nms)
    places: tuple[Drivetrain, Drivetrain] = (
        with_rider(drivetrain, mass_kg + BICYCLE_KG, WHEEL_RADIUS_M),
        replace(drivetrain, wheel_inertia_kgm2=ergometer_kgm2),
    )
    road, ergometer = (
        steady_turn(place, stroke, Resistance(), mean_cadence_rpm=rings.cadence_rpm) for place in places
    )
    return compare_environments(road, ergometer)


def environment(shifts: Shifts) -> list[str]:
    """Say what the ergometer changes on each ring."""
    return [
        *(f"On the {role} ring: {_lower(shift.sentence())}" for role, shift in shifts.items()),
        (
            "How a rider answers a lighter flywheel beyond the torque–speed slope is not in it: measured on one"
            " rider a difference of places is a difference of rides too."
        ),
    ]


def environment_exhibit(shifts: Shifts) -> FigureExhibit:
    """Draw crank speed and torque on the oval ring in both places."""
    frame = shifts["oval"].to_frame()
    return FigureExhibit(
        "environments",
        environment_panels(frame),
        "The same stroke on the oval ring on the road (solid) and on a light ergometer (dashed): crank speed"
        " and torque. On the road the wheel runs steadily and the ring alone moves the crank; on the ergometer the"
        " wheel gives way where the rider pushes.",
        "Two line charts against crank angle on the oval ring, road and ergometer: crank speed, and torque;"
        f" speed swings by {100 * shifts['oval'].road.speed_swing:.0f} and"
        f" {100 * shifts['oval'].ergometer.speed_swing:.0f} percent.",
        frame,
    )


def environment_table(shifts: Shifts) -> TableExhibit:
    """Give swing, phase, peak torque, power and meter error in both places by ring."""
    frame = pd.concat(
        [shift.summary().assign(ring=role) for role, shift in shifts.items()], ignore_index=True
    )
    return TableExhibit(
        "environments",
        frame[["ring", "quantity", "unit", "road", "ergometer", "shift"]],
        "The same stroke at the same cadence on the road and on the ergometer; shift: ergometer − road.",
        digits={"road": 2, "ergometer": 2, "shift": 2},
    )


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
