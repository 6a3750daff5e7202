"""The rides of a published effect: one stroke on a round and an oval ring for every set of assumptions."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import axial_phase_deg, crank_angles
from analysis_lib.mechanics.published_effects import PublishedEffect
from analysis_lib.mechanics.ring import FloatArray, Ring
from analysis_lib.mechanics.steady_speed import settle_speeds
from analysis_lib.mechanics.stroke_model import Stroke, make_stroke
from analysis_lib.mechanics.stroke_slope import StrokeSlope

TEETH = 52

UNKNOWN_MOUNTS_DEG = (-45.0, 0.0, 45.0)
"""Largest arm from the torque phase where a source does not tell it: as far as a mount gives nothing away."""

UNKNOWN_INERTIAS_KGM2 = (5.0, math.inf)
"""Crank inertial load of an ergometer that is not told, up to a chain of steady speed."""


@dataclass(frozen=True)
class Ride:
    """One set of assumptions.

    Attributes
    ----------
    axis_ratio, crank_load_kgm2 : float
        Of the oval ring; crank inertial load on the round one.
    offset_deg, peak_arm_deg : float
        Largest arm from the torque phase, and where that puts it.
    surface : Stroke
        Torque and speed on the round ring, and how torque falls with speed.
    cadence_rpm : float
    """

    axis_ratio: float
    crank_load_kgm2: float
    offset_deg: float
    peak_arm_deg: float
    surface: Stroke
    cadence_rpm: float

    @property
    def drivetrains(self) -> tuple[Drivetrain, Drivetrain]:
        """With the round and with the oval ring."""
        on_round = _on_round(self.crank_load_kgm2)
        oval = replace(on_round, ring=Ring.ellipse(TEETH, self.axis_ratio))
        return on_round, oval.with_mount(oval.mount_for_peak_arm(self.peak_arm_deg))


def rides_of(
    effect: PublishedEffect, strokes_Nm: Sequence[FloatArray], slopes: Sequence[StrokeSlope]
) -> list[Ride]:
    """Every combination of the assumptions about one effect."""
    given = effect.mount_optimised
    offsets, inertias = ((0.0,), (math.inf,)) if given else (UNKNOWN_MOUNTS_DEG, UNKNOWN_INERTIAS_KGM2)
    ratios, cadences = sorted(set(effect.axis_ratio)), sorted(set(effect.cadence_rpm))
    rides = []
    for stroke, inertia, cadence in product(strokes_Nm, inertias, cadences):
        speed, phase = _on_round(inertia).steady_speed(stroke, cadence), axial_phase_deg(stroke)
        surfaces = [make_stroke(stroke, speed, slope.slope_Nms(stroke, cadence)) for slope in slopes]
        rides += [
            Ride(ratio, inertia, offset, (phase + offset) % 180.0, surface, cadence)
            for ratio, offset, surface in product(ratios, offsets, surfaces)
        ]
    return rides


def changes_of_power(rides: Sequence[Ride]) -> Iterator[tuple[float, float]]:
    """Offset (deg) and change of power (% of round): by unchanged force and joint torques, and by the surface.

    Unchanged force leaves the torque alone, and unchanged joint torques move it about within the turn, by a
    derivative whose mean is nothing: so the mean torque stays, and power is mean torque times mean speed.
    """
    surface = Stroke(
        *(
            np.stack([getattr(ride.surface, name) for ride in rides])
            for name in ("torque_Nm", "speed_rad_s", "slope_Nms")
        )
    )
    inertia = np.array([_on_round(ride.crank_load_kgm2).wheel_inertia_kgm2 for ride in rides])
    cadence = np.array([ride.cadence_rpm for ride in rides])
    speed, settled = settle_speeds(surface, surface.speed_rad_s, _gears(rides), inertia, cadence)
    on_oval = surface.torque_at(speed).mean(axis=-1)
    for ride, torque, known in zip(rides, on_oval, settled, strict=True):
        mean = torque if known else _one_by_one(ride).mean()
        yield from (
            (ride.offset_deg, 0.0),
            (ride.offset_deg, 100 * float(mean / ride.surface.torque_Nm.mean() - 1)),
        )


def _one_by_one(ride: Ride) -> FloatArray:
    """Torque on the oval ring, solved or refused for one ride."""
    _, oval = ride.drivetrains
    return steady_turn(oval, ride.surface, Resistance(), mean_cadence_rpm=ride.cadence_rpm).torque_Nm


def _gears(rides: Sequence[Ride]) -> FloatArray:
    """Gear of each ride's oval ring; a ring turned on its crank is the ring at another crank angle."""
    angle = crank_angles(rides[0].surface.torque_Nm.size)
    found: dict[tuple[float, float], FloatArray] = {}
    for ratio in {ride.axis_ratio for ride in rides}:
        oval = Drivetrain(Ring.ellipse(TEETH, ratio))
        peaks = sorted({ride.peak_arm_deg for ride in rides if ride.axis_ratio == ratio})
        mounts = np.radians([oval.mount_for_peak_arm(peak) for peak in peaks])
        gears = oval.gear(angle + mounts[:, None])
        found |= {(ratio, peak): gear for peak, gear in zip(peaks, gears, strict=True)}
    return np.stack([found[ride.axis_ratio, ride.peak_arm_deg] for ride in rides])


@lru_cache(maxsize=8)
def _on_round(crank_load_kgm2: float) -> Drivetrain:
    drivetrain = Drivetrain(Ring.round(TEETH))
    return replace(drivetrain, wheel_inertia_kgm2=crank_load_kgm2 / (TEETH / drivetrain.sprocket_teeth) ** 2)
