"""Inverse dynamics: from pedal force and motion of the leg to moments and powers at ankle, knee and hip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis_lib.mechanics.leg import ComplexArray, LegPath
from analysis_lib.mechanics.periodic import check_turn, differentiate_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.segments import LegSegments, Segment
from analysis_lib.refusals import Refusal

GRAVITY = -9.80665j
"""Standard gravity (CGPM 1901), downward, m/s²."""


@dataclass(frozen=True)
class JointLoads:
    """Moments and powers of one leg through a turn of its own crank.

    Attributes
    ----------
    crank_rad : array of shape (angles,)
    hip_Nm, knee_Nm, ankle_Nm : arrays of shape (angles,)
        Net muscle moments, positive when they extend hip or knee or plantarflex the ankle.
    hip_W, knee_W, ankle_W : arrays of shape (angles,)
        Joint powers, moment times joint speed in the same direction.
    pedal_W, energy_rate_W : arrays of shape (angles,)
        Power from foot to pedal, and the rate at which the leg's kinetic and potential energy grows.
    hip_N : complex array of shape (angles,)
        Force from pelvis on thigh, forward + i·upward; the hip does not move, so it carries no power.
    speed_rad_s : array of shape (angles,)
        Crank speed.
    source : str
        Segment table.
    """

    crank_rad: FloatArray
    hip_Nm: FloatArray
    knee_Nm: FloatArray
    ankle_Nm: FloatArray
    hip_W: FloatArray
    knee_W: FloatArray
    ankle_W: FloatArray
    pedal_W: FloatArray
    energy_rate_W: FloatArray
    hip_N: ComplexArray
    speed_rad_s: FloatArray
    source: str

    @property
    def balance_W(self) -> FloatArray:
        """Joint powers less pedal power less growth of energy; zero but for rounding, at every angle."""
        return self.hip_W + self.knee_W + self.ankle_W - self.pedal_W - self.energy_rate_W

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: ``crank_deg``, moments in N m and powers in W."""
        names = ("hip_Nm", "knee_Nm", "ankle_Nm", "hip_W", "knee_W", "ankle_W", "pedal_W", "energy_rate_W")
        return pd.DataFrame(
            {"crank_deg": np.degrees(self.crank_rad), **{name: getattr(self, name) for name in names}}
        )


def solve_joint_loads(
    path: LegPath, segments: LegSegments, speed_rad_s: ArrayLike, tangential_N: ArrayLike, radial_N: ArrayLike
) -> JointLoads:
    """Newton and Euler from the pedal up: force and moment at ankle, knee and hip.

    For each segment, from the foot on: m·a = F_proximal + F_distal + m·g, and about its centre of mass
    I·α = M_proximal + M_distal + r × F at both ends. Motion by crank angle is turned into time with d/dt =
    ω·d/dθ.

    Parameters
    ----------
    path : LegPath
    segments : LegSegments
        Of the same lengths as the path's geometry.
    speed_rad_s : float or array of shape (angles,)
        Crank speed at the path's angles.
    tangential_N, radial_N : arrays of shape (angles,)
        Force of the foot on the pedal: along the pedal's motion, and outward from the crank axis. The pedal
        axle turns freely, so no moment passes.

    Raises
    ------
    Refusal
        Turns that do not match the path, segments of other lengths, a speed not above 0.
    """
    speed, tangential, radial = _check_inputs(path, segments, speed_rad_s, tangential_N, radial_N)
    on_pedal = (tangential + 1j * radial) * np.exp(-1j * path.crank_rad)
    angular = np.stack([path.thigh_rad, path.shank_rad, path.foot_rad])
    omega = differentiate_turn(angular) * speed
    alpha = differentiate_turn(omega) * speed
    joints = [np.full(speed.size, path.hip), path.knee, path.ankle, path.pedal]
    bodies = [segments.thigh, segments.shank, segments.foot]
    moments, energy = np.empty((3, speed.size)), np.zeros(speed.size)
    force, moment = -on_pedal, np.zeros(speed.size)
    for index in (2, 1, 0):
        body, proximal, distal = bodies[index], joints[index], joints[index + 1]
        centre = proximal + body.centre * (distal - proximal)
        velocity = _by_time(centre, speed)
        above = body.mass_kg * (_by_time(velocity, speed) - GRAVITY) - force
        turning = _cross(proximal - centre, above) + _cross(distal - centre, force)
        moments[index] = body.inertia_kgm2 * alpha[index] - turning - moment
        energy += _energy(body, centre, velocity, omega[index])
        # What the segment above feels at its distal end is the opposite of what it exerts.
        force, moment = -above, -moments[index]
    joint_speed = np.stack([omega[0], omega[1] - omega[0], omega[2] - omega[1]])
    powers = moments * joint_speed
    return JointLoads(
        crank_rad=path.crank_rad,
        hip_Nm=-moments[0],  # extension turns the thigh backward, which is clockwise
        knee_Nm=moments[1],
        ankle_Nm=-moments[2],
        hip_W=powers[0],
        knee_W=powers[1],
        ankle_W=powers[2],
        pedal_W=tangential * path.geometry.crank_m * speed,
        energy_rate_W=differentiate_turn(energy) * speed,
        hip_N=-force,
        speed_rad_s=speed,
        source=segments.source,
    )


def leg_inertia(path: LegPath, segments: LegSegments) -> FloatArray:
    """Inertia of one leg reduced to its crank, J(θ) in kg m²: kinetic energy is ½·J·ω².

    J = Σ m·|dc/dθ|² + I·(dφ/dθ)² over thigh, shank and foot, with their centres of mass c and angles φ.
    """
    angular = differentiate_turn(np.stack([path.thigh_rad, path.shank_rad, path.foot_rad]))
    joints = [np.full(path.crank_rad.size, path.hip), path.knee, path.ankle, path.pedal]
    reduced = np.zeros(path.crank_rad.size)
    for index, body in enumerate((segments.thigh, segments.shank, segments.foot)):
        centre = joints[index] + body.centre * (joints[index + 1] - joints[index])
        motion = _by_time(centre, np.ones(path.crank_rad.size))
        reduced += body.mass_kg * np.abs(motion) ** 2 + body.inertia_kgm2 * angular[index] ** 2
    return reduced


def _by_time(points: ComplexArray, speed: FloatArray) -> ComplexArray:
    parts = differentiate_turn(np.stack([points.real, points.imag]))
    return (parts[0] + 1j * parts[1]) * speed


def _cross(arm: ComplexArray, force: ComplexArray) -> FloatArray:
    return (np.conj(arm) * force).imag


def _energy(body: Segment, centre: ComplexArray, velocity: ComplexArray, omega: FloatArray) -> FloatArray:
    kinetic = body.mass_kg * np.abs(velocity) ** 2 / 2 + body.inertia_kgm2 * omega**2 / 2
    return kinetic - body.mass_kg * GRAVITY.imag * centre.imag


def _check_inputs(
    path: LegPath, segments: LegSegments, speed_rad_s: ArrayLike, tangential_N: ArrayLike, radial_N: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    count = path.crank_rad.size
    speed = check_turn(np.broadcast_to(np.asarray(speed_rad_s, dtype=float), (count,)), "speed_rad_s")[0]
    tangential, radial = check_turn(tangential_N, "tangential_N")[0], check_turn(radial_N, "radial_N")[0]
    if tangential.size != count or radial.size != count or not speed.min() > 0:
        raise Refusal(
            "speed and pedal forces",
            f"{tangential.size} and {radial.size} angles, smallest speed {speed.min():.3g} rad/s",
            f"{count} angles like the path of the leg, and a speed above 0",
            "average force and speed at the angles of the foot pitch",
        )
    lengths = (segments.thigh.length_m, segments.shank.length_m, segments.foot.length_m)
    wanted = (path.geometry.thigh_m, path.geometry.shank_m, path.geometry.foot_m)
    if not np.allclose(lengths, wanted, rtol=0, atol=1e-9):
        raise Refusal(
            "lengths of the segments",
            ", ".join(f"{length:g} m" for length in lengths),
            ", ".join(f"{length:g} m" for length in wanted) + " (thigh, shank, foot of the leg geometry)",
            "make segments and geometry from the same lengths",
        )
    return speed, tangential, radial
