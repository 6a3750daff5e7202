"""The same stroke on the road and on ergometers, with an even brake and one that holds power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.environments import EnvironmentShift, compare_environments
from analysis_lib.mechanics.inertia import with_rider
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import environment_panels
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.reports.rider.road_shift import BICYCLE_KG, WHEEL_RADIUS_M
from analysis_lib.statistics.estimates import show_number

Shifts = dict[str, EnvironmentShift]

EVEN_BRAKE = Resistance()


def road_and_ergometer(
    rings: RingComparison,
    body_mass_kg: float,
    ergometer_kgm2: float,
    brake: Resistance = EVEN_BRAKE,
) -> Shifts:
    """Solve one stroke on the road and on an ergometer, for each ring.

    Parameters
    ----------
    rings : RingComparison
    body_mass_kg : float
        Of the rider; bicycle and clothes come on top.
    ergometer_kgm2 : float
        Inertia of the flywheel as the sprocket feels it.
    brake : Resistance
        Of the ergometer; the road resists evenly.

    Returns
    -------
    dict of role to EnvironmentShift
    """
    return {role: _shift(rings, role, body_mass_kg, ergometer_kgm2, brake) for role in rings.drivetrains}


def in_all_places(
    rings: RingComparison, body_mass_kg: float, ergometer_kgm2: float, response_s: float
) -> tuple[Shifts, Shifts]:
    """Solve one stroke on the road and on an ergometer, with an even brake and with one that holds power.

    Parameters
    ----------
    rings, body_mass_kg, ergometer_kgm2
        As in `road_and_ergometer`.
    response_s : float
        Time in which the brake that holds power follows a change of speed.
    """
    held = Resistance("constant power", response_s)
    return (
        road_and_ergometer(rings, body_mass_kg, ergometer_kgm2),
        road_and_ergometer(rings, body_mass_kg, ergometer_kgm2, held),
    )


def _shift(
    rings: RingComparison, role: str, mass_kg: float, ergometer_kgm2: float, brake: Resistance
) -> EnvironmentShift:
    drivetrain = rings.drivetrains[role]
    stroke = make_stroke(rings.torque_Nm, rings.speeds["round"], rings.slope_Nms)
    places: tuple[tuple[Drivetrain, Resistance], ...] = (
        (with_rider(drivetrain, mass_kg + BICYCLE_KG, WHEEL_RADIUS_M), EVEN_BRAKE),
        (replace(drivetrain, wheel_inertia_kgm2=ergometer_kgm2), brake),
    )
    road, ergometer = (
        steady_turn(place, stroke, law, mean_cadence_rpm=rings.cadence_rpm) for place, law in places
    )
    return compare_environments(road, ergometer)


def environment(even: Shifts, held: Shifts, rings: RingComparison) -> list[str]:
    """Say what an ergometer changes on each ring, with a brake that is even and one that holds power."""
    return [
        *(f"On the {role} ring: {_lower(shift.sentence())}" for role, shift in even.items()),
        *(_held(role, even[role], shift) for role, shift in held.items()),
        _steadiness(rings),
        rings.slope.sentence(),
        (
            "How a rider answers a lighter flywheel beyond that slope is not in it: measured on one rider a"
            " difference of places is a difference of rides too."
        ),
    ]


def _held(role: str, even: EnvironmentShift, held: EnvironmentShift) -> str:
    brake = held.ergometer.wheel_resistance_Nm
    swing = show_number(100 * float(np.ptp(brake) / brake.mean()), 1)
    shift = show_number(held.torque_phase_shift_deg, 1, signed=True)
    return (
        f"Where the brake holds power its torque swings by {swing} % of its mean on the {role} ring, the crank"
        f" speed by {100 * held.ergometer.speed_swing:.1f} % instead of the {100 * even.ergometer.speed_swing:.1f} %"
        f" with an even brake, and the torque phase shifts by {shift}° from the road."
    )


def _steadiness(rings: RingComparison) -> str:
    """Whether a cadence holds itself against constant power: where torque falls faster than 1/ω."""
    lost, held = rings.slope.lost_at(rings.cadence_rpm), 100 / rings.cadence_rpm
    words = f"torque that loses {show_number(lost, 2)} % per rpm against the {show_number(held, 2)} of constant power"
    if lost < held:
        return (
            f"With {words} no cadence holds itself on an ergometer that holds power: a slower crank meets more"
            " brake than the stroke gives back, and a faster one less. The rider holds it; the model only says how"
            " such a turn would run."
        )
    return f"With {words} the cadence holds itself even on an ergometer that holds power."


def environment_exhibit(even: Shifts, held: Shifts) -> FigureExhibit:
    """Draw crank speed and torque on the oval ring in all places, and how far torque moves from the road's."""
    with_power_held = held["oval"].to_frame().add_suffix("_held")
    frame = pd.concat([even["oval"].to_frame(), with_power_held.drop(columns="crank_deg_held")], axis=1)
    swings = [
        turn.speed_swing for turn in (even["oval"].road, even["oval"].ergometer, held["oval"].ergometer)
    ]
    words = ", ".join(f"{100 * swing:.0f}" for swing in swings)
    return FigureExhibit(
        "environments",
        environment_panels(frame),
        "The same stroke on the oval ring on the road (solid), on a light ergometer with an even brake (dashed) and on"
        " one that holds power (dotted): crank speed, torque, and torque less that on the road. On the road the wheel"
        " runs steadily and the ring alone moves the crank; on an ergometer the wheel gives way where the rider pushes.",
        "Three line charts against crank angle on the oval ring, road and two ergometers: crank speed, torque, and"
        f" change of torque; speed swings by {words} percent.",
        frame,
    )


def environment_table(even: Shifts, held: Shifts) -> TableExhibit:
    """Give swing, phase, peak torque, power and meter error in all places by ring."""
    frames = [
        even[role]
        .summary()
        .rename(columns={"shift": "even_shift"})
        .assign(ring=role, held=shift.summary()["ergometer"], held_shift=shift.summary()["shift"])
        for role, shift in held.items()
    ]
    frame = pd.concat(frames, ignore_index=True)
    numbers = ["road", "ergometer", "held", "even_shift", "held_shift"]
    return TableExhibit(
        "environments",
        frame[["ring", "quantity", "unit", *numbers]],
        "The same stroke at the same cadence on the road, on an ergometer with an even brake and on one that holds"
        " power; shift: ergometer − road.",
        {
            "ergometer": "ergometer, even",
            "held": "ergometer, power held",
            "even_shift": "shift, even",
            "held_shift": "shift, power held",
        },
        dict.fromkeys(numbers, 2),
    )


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
