"""The inertia behind the crank: rider, wheels or flywheel, each stated at the sprocket of a drivetrain."""

from __future__ import annotations

import math
from dataclasses import replace

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.refusals import Refusal


def with_rider(
    drivetrain: Drivetrain, mass_kg: float, wheel_radius_m: float, wheels_kgm2: float = 0.0
) -> Drivetrain:
    """The drivetrain with a rider and bicycle rolling on the road: I = m·r² + I of both wheels.

    Parameters
    ----------
    drivetrain : Drivetrain
    mass_kg : float
        Rider, bicycle and everything carried.
    wheel_radius_m : float
        Rolling radius, 0.2 to 0.4 m.
    wheels_kgm2 : float
        Inertia of both wheels about their axles.

    Examples
    --------
    80 kg on 0.334 m wheels: 80 · 0.1116 = 8.92 kg m².

    >>> from analysis_lib.mechanics.ring import Ring
    >>> round(with_rider(Drivetrain(Ring.round(52)), 80.0, 0.334).wheel_inertia_kgm2, 2)
    8.92
    """
    _check_positive(mass_kg, "mass_kg", "kg")
    if not 0.2 <= wheel_radius_m <= 0.4:
        raise Refusal(
            "wheel_radius_m",
            repr(wheel_radius_m),
            "0.2 to 0.4 m",
            "give the rolling radius of the wheel in metres: circumference over 2π",
        )
    if not wheels_kgm2 >= 0:
        raise Refusal("wheels_kgm2", repr(wheels_kgm2), "0 kg m² or more", "leave it out if it is not known")
    return replace(drivetrain, wheel_inertia_kgm2=mass_kg * wheel_radius_m**2 + wheels_kgm2)


def with_crank_inertia(drivetrain: Drivetrain, crank_inertia_kgm2: float) -> Drivetrain:
    """The drivetrain with a given crank inertial load at its mean gear: I = load / (ring teeth / sprocket
    teeth)².

    Examples
    --------
    94.3 kg m² at the crank behind 52 on 16: 94.3 / 3.25² = 8.93 kg m².

    >>> from analysis_lib.mechanics.ring import Ring
    >>> drivetrain = Drivetrain(Ring.round(52), sprocket_teeth=16)
    >>> round(with_crank_inertia(drivetrain, 94.3).wheel_inertia_kgm2, 2)
    8.93
    """
    _check_positive(crank_inertia_kgm2, "crank_inertia_kgm2", "kg m²")
    mean_gear = drivetrain.ring.teeth / drivetrain.sprocket_teeth
    return replace(drivetrain, wheel_inertia_kgm2=crank_inertia_kgm2 / mean_gear**2)


def _check_positive(value: float, what: str, unit: str) -> None:
    if not (value > 0 and not math.isnan(value)):
        raise Refusal(
            what, repr(value), f"more than 0 {unit}", "measure it, or leave the default of the road"
        )
