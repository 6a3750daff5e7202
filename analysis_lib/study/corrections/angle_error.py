"""What a crank angle with few pulses a turn costs on the ring in use, by what the ring must do to the speed."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.declared.recorder_map import RecorderMap

FloatArray = NDArray[np.float64]
NOT_WORTH_SAYING_DEG = 0.05


def sectors_of(recorder: RecorderMap) -> int | None:
    """Return in how many parts of a turn the recorder takes the crank speed as constant; None where it follows it."""
    if recorder.kind == "notifications" or recorder.angle == "index":
        return 1
    return recorder.pulses_per_turn if recorder.angle == "pulses" else None


def largest_angle_error_deg(speed_rad_s: FloatArray, sectors: int, start_rad: float = 0.0) -> float:
    """Return how far an angle goes astray that takes the speed as constant within each of `sectors` equal parts.

    Parameters
    ----------
    speed_rad_s : array of shape (angles,)
        True crank speed at equally spaced angles from 0, end excluded.
    sectors : int
    start_rad : float
        Where the first sector begins.

    Returns
    -------
    float
        Largest distance of the angle so made from the true one, degrees.

    Examples
    --------
    Half the turn at twice the speed of the other takes a third of the time: at its end half a turn counts as a third,
    which is 60° too little.

    >>> speed = np.where(np.arange(3600) < 1800, 2.0, 1.0)
    >>> round(largest_angle_error_deg(speed, 1), 0)
    60.0
    """
    size = speed_rad_s.size
    angle = 2 * math.pi * np.arange(size + 1) / size + start_rad
    around = np.interp(
        angle,
        2 * math.pi * np.arange(size + 1) / size,
        np.append(speed_rad_s, speed_rad_s[0]),
        period=2 * math.pi,
    )
    slowness = 1 / around
    time = np.concatenate([[0.0], np.cumsum((slowness[1:] + slowness[:-1]) / 2)])
    edges = np.linspace(angle[0], angle[-1], sectors + 1)
    made = np.interp(time, np.interp(edges, angle, time), edges)
    return float(np.degrees(np.abs(made - angle).max()))


def angle_error_sentence(result: TrialResult, recorder: RecorderMap, drivetrain: Drivetrain) -> str:
    """Say by how much angle and power of a trial err on its ring, or nothing where that is next to nothing.

    The speed is what the drivetrain makes of the trial's own torque at constant resistance. One leg alone is taken
    for both, half a turn apart.
    """
    sectors = sectors_of(recorder)
    if sectors is None:
        return ""
    torque = _two_leg_torque(result)
    speed = drivetrain.steady_speed(torque, result.value("cadence_rpm"))
    start = math.radians(-(recorder.angle_offset_deg or 0.0)) + (
        math.pi if recorder.crank_side == "left" else 0
    )
    astray = largest_angle_error_deg(speed, sectors, start)
    power = 100 * power_error(torque, speed, sectors, start)
    if astray < NOT_WORTH_SAYING_DEG:
        return ""
    parts = "the turn" if sectors == 1 else f"each 1/{sectors} turn"
    return (
        f"The crank angle takes the speed as constant within {parts}; on this ring and mount that puts the angle up to"
        f" {astray:.1f}° astray and power {show_number(power, 2, signed=True)} % off, by the speed that the drivetrain"
        " must have at constant resistance."
    )


def _two_leg_torque(result: TrialResult) -> FloatArray:
    if result.layout in ("two legs", "total only"):
        return result.torque_at_angles()
    leg = result.torque_at_angles(result.layout.split()[0])
    return leg + np.roll(leg, leg.size // 2)
