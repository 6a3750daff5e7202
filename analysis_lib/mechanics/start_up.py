"""The start-up: how a rider brings crank, wheel and brake from a given speed to the steady turn, in time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.mechanics.crank_dynamics import Resistance
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.stroke_model import Stroke
from analysis_lib.refusals import Refusal

GEAR_ANGLES = 720
SAMPLES_PER_SECOND = 200
SLOWEST_BRAKED_RAD_S = 1.0
"""Wheel speed below which an ergometer that holds power brakes as it would at this speed."""


@dataclass(frozen=True)
class StartUp:
    """A start played out in time.

    Attributes
    ----------
    time_s, crank_rad, speed_rad_s, torque_Nm, wheel_resistance_Nm : arrays of shape (samples,)
        The crank angle runs on without wrapping.
    stalled : bool
        Whether the wheel came to rest before the time was over.
    """

    time_s: FloatArray
    crank_rad: FloatArray
    speed_rad_s: FloatArray
    torque_Nm: FloatArray
    wheel_resistance_Nm: FloatArray
    stalled: bool

    def cadence_by_turn(self) -> pd.DataFrame:
        """One row a whole turn: ``turn, duration_s, cadence_rpm``."""
        # Turns end where the angle passes a multiple of 2π; the angle never falls.
        first, last = math.ceil(self.crank_rad[0] / (2 * math.pi)), self.crank_rad[-1] // (2 * math.pi)
        whole = np.arange(first, last + 1)
        ends = np.interp(whole * 2 * math.pi, self.crank_rad, self.time_s)
        duration = np.diff(ends)
        turns = np.arange(1, duration.size + 1)
        return pd.DataFrame({"turn": turns, "duration_s": duration, "cadence_rpm": 60 / duration})


def play_start_up(
    drivetrain: Drivetrain,
    stroke: Stroke,
    resistance: Resistance,
    level: float,
    start_cadence_rpm: float,
    duration_s: float,
    start_crank_deg: float = 0.0,
) -> StartUp:
    """Integrate crank angle θ, wheel speed Ω and brake torque R in time.

        dθ/dt = Ω/G,    I·dΩ/dt = T(θ, ω)/G − R,    dR/dt = (level/Ω − R)/response on an ergometer.

    Parameters
    ----------
    drivetrain, stroke, resistance
        The stroke holds from standstill; muscles may give another torque there, so read the first turn with
        care.
    level : float
        Level of the resistance: N m, N m s² or W at the wheel.
    start_cadence_rpm : float
        0 starts from rest, which needs torque at the starting angle.
    duration_s : float
    start_crank_deg : float

    Raises
    ------
    Refusal
        A negative start, or values not above 0.
    """
    _check_start(drivetrain, level, start_cadence_rpm, duration_s)
    gear = _gear_spline(drivetrain)

    def braking(wheel_speed: float) -> float:
        speed = max(wheel_speed, SLOWEST_BRAKED_RAD_S) if resistance.holds_power else wheel_speed
        return float(resistance.torque(np.asarray(speed), level))

    def motion(_: float, state: FloatArray) -> list[float]:
        angle, wheel_speed, brake = state
        ratio = float(gear(angle))
        aim = braking(wheel_speed)
        resisting = brake if resistance.holds_power else aim
        driven = stroke.torque_between(angle, wheel_speed / ratio) / ratio - resisting
        follow = (aim - brake) / resistance.response_s if resistance.holds_power else 0.0
        return [wheel_speed / ratio, driven / drivetrain.wheel_inertia_kgm2, follow]

    def rest(_: float, state: FloatArray) -> float:
        return float(state[1])

    rest.terminal, rest.direction = True, -1  # type: ignore[attr-defined]
    theta = math.radians(start_crank_deg)
    wheel_speed = start_cadence_rpm * 2 * math.pi / 60 * float(gear(theta))
    run = scipy.integrate.solve_ivp(
        motion,
        (0, duration_s),
        [theta, wheel_speed, braking(wheel_speed)],
        t_eval=np.linspace(0, duration_s, max(2, round(duration_s * SAMPLES_PER_SECOND)) + 1),
        events=rest,
        rtol=1e-7,
        atol=1e-8,
        max_step=0.02,
    )
    crank, wheel, brake = run.y
    speed = wheel / gear(crank)
    return StartUp(
        time_s=run.t,
        crank_rad=crank,
        speed_rad_s=speed,
        torque_Nm=np.array([stroke.torque_between(*pair) for pair in zip(crank, speed, strict=True)]),
        wheel_resistance_Nm=brake if resistance.holds_power else resistance.torque(wheel, level),
        stalled=run.status == 1,
    )


def _gear_spline(drivetrain: Drivetrain) -> scipy.interpolate.CubicSpline:
    angles = np.append(crank_angles(GEAR_ANGLES), 2 * math.pi)
    gears = drivetrain.gear(angles)
    gears[-1] = gears[0]
    return scipy.interpolate.CubicSpline(angles, gears, bc_type="periodic")


def _check_start(drivetrain: Drivetrain, level: float, start_cadence_rpm: float, duration_s: float) -> None:
    for name, value in {"level": level, "duration_s": duration_s}.items():
        if not (math.isfinite(value) and value > 0):
            raise Refusal(name, repr(value), "more than 0", "give a positive value")
    if not start_cadence_rpm >= 0:
        raise Refusal(
            "start_cadence_rpm", repr(start_cadence_rpm), "0 or more", "give the cadence at the start"
        )
    if not math.isfinite(drivetrain.wheel_inertia_kgm2):
        raise Refusal(
            "wheel_inertia_kgm2",
            "an infinite inertia",
            "a finite one",
            "a chain of steady speed has no start-up",
        )
