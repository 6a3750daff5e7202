"""What makes a trial's torque, power and torque phase uncertain, as budgets of named inputs."""

from __future__ import annotations

import math

from analysis_lib.signals.uncertainty import UncertainInput, UncertaintyBudget, propagate

RPM = 2 * math.pi / 60
DEG_PER_S_PER_RPM = 6.0
NO_ZERO_ERROR = UncertainInput("remaining zero torque", 0.0, 0.0, unit="N m")
TRUE_SLOPE = UncertainInput("calibration slope", 1.0, 0.0)
NO_WARMING = UncertainInput("slope's change with temperature", 0.0, 0.0)
NO_ANGLE_ERROR = UncertainInput("zero of the crank angle", 0.0, 0.0, unit="deg")
NO_DELAY = UncertainInput("delay of torque behind angle", 0.0, 0.0, unit="s")


def torque_budget(
    torque: UncertainInput,
    zero: UncertainInput = NO_ZERO_ERROR,
    slope: UncertainInput = TRUE_SLOPE,
    warming: UncertainInput = NO_WARMING,
) -> UncertaintyBudget:
    """Budget of a mean torque, T = (reading − zero) / (slope·(1 + change with temperature)), N m."""
    return propagate(
        "Mean torque",
        "N m",
        lambda reading, z, k, w: (reading - z) / (k * (1 + w)),
        [torque, zero, slope, warming],
    )


def power_budget(
    torque: UncertainInput,
    cadence: UncertainInput,
    zero: UncertainInput = NO_ZERO_ERROR,
    slope: UncertainInput = TRUE_SLOPE,
    warming: UncertainInput = NO_WARMING,
) -> UncertaintyBudget:
    """Budget of mean power, P = (reading − zero) / (slope·(1 + change with temperature)) · 2π·n/60, W.

    Exact for any variation of speed within the turn, as long as torque is averaged over angle.

    Examples
    --------
    A zero torque known to 0.5 N m is worth 0.5 · 90 · 2π/60 = 4.71 W at 90 rpm.

    >>> torque, cadence = UncertainInput("torque", 26.5, 0.0), UncertainInput("cadence", 90, 0.0)
    >>> zero = UncertainInput("remaining zero torque", 0.0, 0.5)
    >>> round(power_budget(torque, cadence, zero).standard_uncertainty, 2)
    4.71
    """
    return propagate(
        "Power",
        "W",
        lambda reading, n, z, k, w: (reading - z) / (k * (1 + w)) * n * RPM,
        [torque, cadence, zero, slope, warming],
    )


def torque_phase_budget(
    phase: UncertainInput,
    cadence: UncertainInput,
    angle_zero: UncertainInput = NO_ANGLE_ERROR,
    delay: UncertainInput = NO_DELAY,
) -> UncertaintyBudget:
    """Budget of a torque phase, P = recorded − zero of the angle − 6·n·delay, degrees.

    A torque that is filtered or sent late is recorded at a later crank angle: 10 ms are 5.4° at 90 rpm. The
    zero torque and the calibration slope have no part in it: they move no phase.
    """
    return propagate(
        "Torque phase",
        "deg",
        lambda recorded, n, zero, late: recorded - zero - DEG_PER_S_PER_RPM * n * late,
        [phase, cadence, angle_zero, delay],
    )
