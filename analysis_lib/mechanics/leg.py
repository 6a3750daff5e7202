"""The leg: thigh, shank, foot, crank and the frame from hip to crank, as a planar five-bar linkage."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.mechanics.periodic import check_turn, differentiate_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal

ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class LegGeometry:
    """Lengths of the linkage, and where the hip stays.

    Attributes
    ----------
    crank_m, thigh_m, shank_m : float
    foot_m : float
        Ankle joint centre to pedal axle.
    hip_behind_m, hip_above_m : float
        Hip joint centre behind and above the crank axis; it does not move.
    """

    crank_m: float
    thigh_m: float
    shank_m: float
    foot_m: float
    hip_behind_m: float
    hip_above_m: float

    def __post_init__(self) -> None:
        lengths = (self.crank_m, self.thigh_m, self.shank_m, self.foot_m, self.hip_above_m)
        if not all(0 < length < 2 for length in lengths) or not abs(self.hip_behind_m) < 2:
            wanted = "lengths in metres, above 0 and below 2"
            raise Refusal("leg geometry", repr(self), wanted, "divide lengths given in millimetres by 1000")


@dataclass(frozen=True)
class LegPath:
    """Where the leg is at every angle of its own crank, whatever the speed.

    Points are complex numbers, metres forward + i·metres upward from the crank axis. Angles of the segments
    (rad) run from proximal to distal joint, counter-clockwise from forward as seen from the rider's right.

    Attributes
    ----------
    geometry : LegGeometry
    crank_rad : array of shape (angles,)
    knee, ankle, pedal : complex arrays of shape (angles,)
    thigh_rad, shank_rad, foot_rad : arrays of shape (angles,)
    """

    geometry: LegGeometry
    crank_rad: FloatArray
    knee: ComplexArray
    ankle: ComplexArray
    pedal: ComplexArray
    thigh_rad: FloatArray
    shank_rad: FloatArray
    foot_rad: FloatArray

    @property
    def hip(self) -> complex:
        """Hip joint centre."""
        return complex(-self.geometry.hip_behind_m, self.geometry.hip_above_m)

    @property
    def hip_flexion_rad(self) -> FloatArray:
        """Angle of the thigh forward of straight down."""
        return self.thigh_rad + math.pi / 2

    @property
    def knee_flexion_rad(self) -> FloatArray:
        """Angle by which the shank lags behind the line of the thigh; 0 is a straight leg."""
        return self.thigh_rad - self.shank_rad

    @property
    def ankle_plantarflexion_rad(self) -> FloatArray:
        """Angle between shank and foot beyond a right angle, positive with the toes down."""
        return self.shank_rad - self.foot_rad + math.pi / 2

    def joint_rates(self) -> FloatArray:
        """Derivatives of hip flexion, knee flexion and ankle plantarflexion by crank angle, shape (3,
        angles).

        Times the crank speed they are the joint speeds in rad/s: the only thing about the motion of the
        joints that a ring can change while the foot keeps its path.
        """
        joints = np.stack([self.hip_flexion_rad, self.knee_flexion_rad, self.ankle_plantarflexion_rad])
        return differentiate_turn(joints)


def follow_leg(geometry: LegGeometry, foot_pitch_rad: ArrayLike) -> LegPath:
    """Close the linkage at every angle of the leg's own crank, knee forward of the line from hip to ankle.

    The pedal stands at crank · (sin θ, cos θ); the ankle lies behind it along the foot. With D the distance
    from hip to ankle, the thigh stands forward of that line by γ, cos γ = (thigh² + D² − shank²) /
    (2·thigh·D).

    Parameters
    ----------
    geometry : LegGeometry
    foot_pitch_rad : array of shape (angles,)
        Angle of the line from ankle to pedal axle below the horizontal, toes down positive, at equally spaced
        crank angles. It is measured, or assumed with `ankling`.

    Raises
    ------
    Refusal
        Crank angles at which the leg is too short or too long to reach the pedal.
    """
    pitch, crank = check_turn(foot_pitch_rad, "foot_pitch_rad")
    pedal = geometry.crank_m * 1j * np.exp(-1j * crank)
    ankle = pedal - geometry.foot_m * np.exp(-1j * pitch)
    hip = complex(-geometry.hip_behind_m, geometry.hip_above_m)
    reach = ankle - hip
    distance = np.abs(reach)
    _check_reach(geometry, crank, distance)
    cosine = (geometry.thigh_m**2 + distance**2 - geometry.shank_m**2) / (2 * geometry.thigh_m * distance)
    thigh = reach / distance * np.exp(1j * np.arccos(cosine))
    knee = hip + geometry.thigh_m * thigh
    return LegPath(
        geometry=geometry,
        crank_rad=crank,
        knee=knee,
        ankle=ankle,
        pedal=pedal,
        thigh_rad=np.unwrap(np.angle(thigh)),
        shank_rad=np.unwrap(np.angle(ankle - knee)),
        foot_rad=-pitch,
    )


def ankling(angles: int, mean_deg: float, swing_deg: float, toes_down_at_deg: float) -> FloatArray:
    """Assumed foot pitch (rad): mean + swing · cos(θ − θ₀), toes furthest down at crank angle θ₀.

    Examples
    --------
    20° on average, 20° either way, most at 280°: 40° there and 0° at 100°.

    >>> pitch = np.degrees(ankling(360, 20.0, 20.0, 280.0))
    >>> round(float(pitch[280]), 6), round(float(pitch[100]), 6)
    (40.0, 0.0)
    """
    crank = np.arange(angles) * 360.0 / angles
    return np.radians(mean_deg + swing_deg * np.cos(np.radians(crank - toes_down_at_deg)))


def _check_reach(geometry: LegGeometry, crank: FloatArray, distance: FloatArray) -> None:
    shortest, longest = abs(geometry.thigh_m - geometry.shank_m), geometry.thigh_m + geometry.shank_m
    outside = (distance >= longest) | (distance <= shortest)
    if outside.any():
        worst = int(np.argmax(np.where(outside, np.abs(distance - (shortest + longest) / 2), 0.0)))
        remedy = (
            "lower the saddle or move it forward: the leg does not reach the pedal"
            if distance[worst] >= longest
            else "raise the saddle: the leg cannot fold so far"
        )
        raise Refusal(
            f"leg at crank angle {math.degrees(crank[worst]):.0f}°",
            f"{distance[worst]:.3f} m from hip to ankle",
            f"more than {shortest:.3f} and less than {longest:.3f} m",
            f"{remedy}, or check crank length, segment lengths and the sign of the foot pitch",
        )
