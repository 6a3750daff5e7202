"""The drivetrain: a ring on its crank, the upper chain run, a round sprocket and the inertia behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis_lib.mechanics.periodic import check_turn, crank_angles
from analysis_lib.mechanics.ring import FloatArray, Ring
from analysis_lib.mechanics.sprocket import check_teeth, mean_arm_m
from analysis_lib.mechanics.steady_speed import steady_speeds
from analysis_lib.refusals import Refusal

Run = Literal["upper", "lower"]

ROAD_WHEEL_INERTIA_KGM2 = 80.0 * 0.334**2
"""Rider and bicycle of 80 kg on wheels of 0.334 m: m·r² = 8.92 kg m² (the wheels' own inertia left out)."""

LONGEST_CHAINSTAY_M = 10.0
"""Beyond recumbents and cargo bicycles; a greater number is a length in millimetres."""


@dataclass(frozen=True)
class Drivetrain:
    """A ring mounted on a crank, driving a round sprocket through the straight upper run of the chain.

    Angles are clock angles seen from the rider's right: 0 straight up, positive in the pedalling direction.
    The crank stands at θ, the major axis of the ring at θ + mount. The sprocket, of radius r = z·p/2π, lies
    at distance L behind the crank axis, raised by the slope s of the chainstay. The upper run touches both
    wheels from above; its outward normal β solves

        H(β − θ − mount) = r − L·sin(β − s)

    because the line at distance H from the crank axis lies at distance r from the sprocket axis. The lever
    arm is h(θ) = H there; the chain moves at h·ω along its line, so the sprocket turns at G·ω with G = h/r.

    Parameters
    ----------
    ring : Ring
    mount_deg : float
        From the right crank arm to the ring's major axis, in the pedalling direction; an axis, modulo 180.
    sprocket_teeth : int
    chainstay_m : float
        Distance from crank axis to sprocket axis.
    wheel_inertia_kgm2 : float
        Inertia I that the sprocket drives: mass · wheel radius² on the road (default: 80 kg on 0.334 m
        wheels), ``math.inf`` for a chain of steady speed. An ergometer's flywheel belongs here, seen at its
        sprocket.
    chainstay_slope_rad : float
        Positive where the sprocket axis is higher than the crank axis.
    """

    ring: Ring
    mount_deg: float = 0.0
    sprocket_teeth: int = 17
    chainstay_m: float = 0.410
    wheel_inertia_kgm2: float = ROAD_WHEEL_INERTIA_KGM2
    chainstay_slope_rad: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "sprocket_teeth", check_teeth(self.sprocket_teeth, "sprocket_teeth"))
        if not math.isfinite(self.mount_deg):
            raise Refusal(
                "mount_deg", repr(self.mount_deg), "a finite angle in degrees", "give the mount angle"
            )
        shortest = self.ring.semi_major_m + self.sprocket_radius_m
        if not shortest < self.chainstay_m <= LONGEST_CHAINSTAY_M:
            raise Refusal(
                "chainstay_m",
                repr(self.chainstay_m),
                f"more than {shortest:.3f} m, where ring and sprocket touch, up to {LONGEST_CHAINSTAY_M:g} m",
                "give the distance from crank axis to sprocket axis in metres, such as 0.410",
            )
        if not self.wheel_inertia_kgm2 > 0:
            raise Refusal(
                "wheel_inertia_kgm2",
                repr(self.wheel_inertia_kgm2),
                "more than 0 kg m²",
                "give mass times wheel radius squared, or the inertia of the ergometer at its sprocket",
            )
        if not abs(self.chainstay_slope_rad) < math.pi / 4:
            raise Refusal(
                "chainstay_slope_rad",
                repr(self.chainstay_slope_rad),
                "less than π/4 either way",
                "give the slope in radians: bottom-bracket drop over chainstay length",
            )

    @property
    def sprocket_radius_m(self) -> float:
        """Mean arm of the sprocket, z·p/2π: the mean gear is then exactly the ratio of the teeth."""
        return mean_arm_m(self.sprocket_teeth)

    def normal_at(self, psi: ArrayLike, run: Run = "upper") -> FloatArray:
        """Clock angle β of a run's outward normal (rad) where it touches the ring at normal angle `psi`.

        β = s + asin((r − H) / L) for the upper run, s + π − asin((r − H) / L) for the lower one. For 46 round
        teeth on 17 and 410 mm: asin(−58.62 / 410) = −8.22° and 188.22°.
        """
        tilt = np.arcsin((self.sprocket_radius_m - self.ring.support(psi)) / self.chainstay_m)
        return self.chainstay_slope_rad + (tilt if run == "upper" else math.pi - tilt)

    def ring_angle(self, crank_rad: ArrayLike, run: Run = "upper") -> FloatArray:
        """Normal angle ψ = β − θ − mount (rad), in the ring's frame, at which a run of chain touches it.

        Newton's method on β(ψ) − ψ = θ + mount. The left side falls steadily, because the slope of H is far
        smaller than the chainstay, so there is one solution and the iteration cannot leave it.
        """
        axis = np.asarray(crank_rad, dtype=float) + math.radians(self.mount_deg)
        psi = self.chainstay_slope_rad - axis + (0.0 if run == "upper" else math.pi)
        for _ in range(30):
            normal = self.normal_at(psi, run)
            tilt = np.cos(normal - self.chainstay_slope_rad) * self.chainstay_m
            step = (normal - psi - axis) / (1 + self.ring.support_slope(psi) / tilt)
            psi = psi + step
            if np.all(np.abs(step) < 1e-12):
                break
        return psi

    def lever_arm(self, crank_rad: ArrayLike) -> FloatArray:
        """Lever arm h of the chain at right-crank angles `crank_rad` (rad), in metres."""
        return self.ring.support(self.ring_angle(crank_rad))

    def gear(self, crank_rad: ArrayLike) -> FloatArray:
        """Gear G = h/r, sprocket speed over crank speed; its mean over a turn is the ratio of the teeth."""
        return self.lever_arm(crank_rad) / self.sprocket_radius_m

    def turn_gear(self, angles: int) -> FloatArray:
        """Gear at `angles` equally spaced crank angles from top dead centre; worked out once, and read only."""
        if angles not in self._turn_gears:
            gear = self.gear(crank_angles(angles))
            gear.setflags(write=False)
            self._turn_gears[angles] = gear
        return self._turn_gears[angles]

    @cached_property
    def _turn_gears(self) -> dict[int, FloatArray]:
        return {}

    def crank_inertia(self, crank_rad: ArrayLike) -> FloatArray:
        """Crank inertial load I·G², in kg m².

        Examples
        --------
        80 kg on 0.334 m wheels, 52 on 16: 8.924 · 3.25² = 94.3 kg m².

        >>> round(float(Drivetrain(Ring.round(52), sprocket_teeth=16).crank_inertia(0.0)), 1)
        94.3
        """
        return self.wheel_inertia_kgm2 * self.gear(crank_rad) ** 2

    @property
    def peak_arm_deg(self) -> float:
        """Right-crank angle of the largest lever arm, in [0, 180) degrees; refused for a round ring."""
        return self._axis_at_peak_deg(self.mount_deg)

    def mount_for_peak_arm(self, peak_arm_deg: float) -> float:
        """Mount angle, in [0, 180) degrees, that puts the largest lever arm at `peak_arm_deg`."""
        return self._axis_at_peak_deg(peak_arm_deg)

    def _axis_at_peak_deg(self, other_deg: float) -> float:
        # Peak-arm and mount angle add up to the clock angle of the major axis when the arm is largest.
        peak = self.ring.peak_rad
        axis_deg = math.degrees(float(self.normal_at(peak)) - peak)
        remainder = (axis_deg - other_deg) % 180.0
        return 0.0 if remainder == 180.0 else remainder

    def with_mount(self, mount_deg: float) -> Drivetrain:
        """The same drivetrain with the ring at another mount angle."""
        return replace(self, mount_deg=mount_deg)

    def wheel_resistance_Nm(self, torque_Nm: ArrayLike) -> float:
        """Constant resisting torque at the sprocket that takes, over a turn, the work the cranks put in."""
        torque, _ = check_turn(torque_Nm, "torque_Nm")
        return float(np.mean(torque) / np.mean(self.turn_gear(torque.size)))

    def steady_speed(
        self, torque_Nm: ArrayLike, mean_cadence_rpm: float, legs_kgm2: ArrayLike = 0.0
    ) -> FloatArray:
        """Crank speed through one turn of steady riding against a constant resistance at the wheel.

        With K = ½ (I G² + J) ω² and torque that does not depend on speed, dK/dθ = T − G·R integrates in
        closed form to K = K₀ + W(θ); R closes the turn, and the one constant K₀ follows from the time of a
        turn, ∮ dθ/ω = 2π / mean speed. The drive is rigid: no freewheel runs ahead where the torque is
        negative.

        Parameters
        ----------
        torque_Nm : array of shape (angles,)
            Two-leg crank torque at equally spaced right-crank angles, 0 to 2π, end excluded.
        mean_cadence_rpm : float
            Turns per minute, so 2π over the duration of the turn.
        legs_kgm2 : float or array of shape (angles,)
            Inertia J that moves with the crank itself, such as both legs' where the torque is that of the
            joints; 0 where the torque was measured at the crank, which the legs have already moved.

        Returns
        -------
        array of shape (angles,)
            Crank speed in rad/s at the same angles.

        Raises
        ------
        Refusal
            Torque that is not one finite turn or does not drive on the whole, a cadence that is not positive,
            or so little inertia that the crank would all but stop within the turn.
        """
        torque, _ = check_turn(torque_Nm, "torque_Nm")
        if not (math.isfinite(mean_cadence_rpm) and mean_cadence_rpm > 0):
            raise Refusal("mean_cadence_rpm", repr(mean_cadence_rpm), "more than 0", "give turns per minute")
        if np.mean(torque) < 0:
            raise Refusal(
                "torque_Nm",
                f"a mean of {np.mean(torque):.3g} N·m",
                "torque that drives the bicycle on the whole",
                "check the sign of the torque channel and its zero torque",
            )
        return steady_speeds(
            torque,
            self.turn_gear(torque.size),
            self.wheel_inertia_kgm2,
            mean_cadence_rpm,
            np.asarray(legs_kgm2),
        )
