"""The two rings of a study side by side, driven by one rider's torque."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.power_error import meter_error_by_sectors, power_error
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.stroke_slope import ASSUMED_SLOPE, StrokeSlope
from analysis_lib.signals.torque_profile import torque_phase_deg

SECTORS = (1, 2, 4, 8, 16, 32)
SECTORS_ALONG_RATIO = (1, 4, 16)
AXIS_RATIOS = np.linspace(1.0, 1.3, 31)


@dataclass(frozen=True)
class RingComparison:
    """Two drivetrains that differ in the ring alone, and the two-leg torque of one stroke.

    Attributes
    ----------
    drivetrains : dict of role to Drivetrain
        ``round`` and ``oval``.
    torque_Nm : array of shape (angles,)
        Two-leg torque at equally spaced right-crank angles from top dead centre, end excluded; held the same
        on both rings, which is an assumption: a rider may answer the ring.
    cadence_rpm : float
    slope : StrokeSlope
        How the torque would fall with crank speed, where that is asked.
    """

    drivetrains: dict[str, Drivetrain]
    torque_Nm: np.ndarray
    cadence_rpm: float
    slope: StrokeSlope = ASSUMED_SLOPE

    @property
    def slope_Nms(self) -> np.ndarray:
        """∂T/∂ω at every angle, N·m·s."""
        return self.slope.slope_Nms(self.torque_Nm, self.cadence_rpm)

    @property
    def torque_phase_deg(self) -> float:
        """The axis around which the torque is centred."""
        return torque_phase_deg(self.torque_Nm)

    @property
    def power_W(self) -> float:
        """Angle-mean torque times 2π over the duration of a turn."""
        return float(np.mean(self.torque_Nm) * self.cadence_rpm * 2 * np.pi / 60)

    @cached_property
    def speeds(self) -> dict[str, np.ndarray]:
        """Steady crank speed on each ring against a constant resistance, rad/s."""
        return {ring: self._speed(drivetrain) for ring, drivetrain in self.drivetrains.items()}

    def geometry(self) -> pd.DataFrame:
        """Return one row a ring: teeth, axis ratio, semi-axes, largest and smallest gear, peak-arm angle."""
        return pd.DataFrame([_geometry(role, drivetrain) for role, drivetrain in self.drivetrains.items()])

    def through_the_turn(self) -> pd.DataFrame:
        """Return gear and crank speed (% of its mean) against crank angle for each ring."""
        angle = crank_angles(self.torque_Nm.size)
        mean_speed = self.cadence_rpm * 2 * np.pi / 60
        return pd.concat(
            pd.DataFrame(
                {
                    "ring": role,
                    "crank_deg": np.degrees(angle),
                    "gear": drivetrain.gear(angle),
                    "speed_pct": 100 * self.speeds[role] / mean_speed,
                }
            )
            for role, drivetrain in self.drivetrains.items()
        )

    def speed_by_inertia(self, wheel_inertias_kgm2: Sequence[float]) -> pd.DataFrame:
        """Return, for each ring and inertia, the crank inertial load and the peak-to-peak speed variation."""
        rows = []
        for role, drivetrain in self.drivetrains.items():
            for inertia in wheel_inertias_kgm2:
                driven = replace(drivetrain, wheel_inertia_kgm2=inertia)
                speed = self._speed(driven)
                load = (
                    float(np.mean(driven.crank_inertia(crank_angles(360))))
                    if np.isfinite(inertia)
                    else np.inf
                )
                variation = 100 * float(np.ptp(speed)) / (self.cadence_rpm * 2 * np.pi / 60)
                rows.append(
                    {"ring": role, "crank_inertial_load_kgm2": load, "speed_variation_pct": variation}
                )
        return pd.DataFrame(rows)

    def meter_errors(self, sectors: Sequence[int] = SECTORS) -> pd.DataFrame:
        """Return a meter's power error by ring and speed sectors a turn: ``ring, sectors, error_pct, error_W``."""
        frames = []
        for role, speed in self.speeds.items():
            frame = meter_error_by_sectors(self.torque_Nm, speed, sectors)
            error = frame["relative_error"].to_numpy()
            frames.append(
                pd.DataFrame(
                    {
                        "ring": role,
                        "sectors": frame["sectors"],
                        "error_pct": 100 * error,
                        "error_W": error * self.power_W,
                    }
                )
            )
        return pd.concat(frames, ignore_index=True)

    def meter_gap(self, sectors: Sequence[int] = SECTORS) -> pd.DataFrame:
        """Return what a meter alone would add to oval − round: ``sectors, gap_W``."""
        errors = self.meter_errors(sectors)
        oval, circle = (
            errors.loc[errors["ring"] == role, "error_W"].to_numpy() for role in ("oval", "round")
        )
        return pd.DataFrame({"sectors": list(sectors), "gap_W": oval - circle})

    def errors_by_axis_ratio(self) -> pd.DataFrame:
        """Return the error of meters on ellipses of other axis ratios, peak arm kept where the study's ring has it."""
        oval = self.drivetrains["oval"]
        rows = []
        for ratio in AXIS_RATIOS:
            drivetrain = replace(oval, ring=Ring.ellipse(oval.ring.teeth, float(ratio)))
            if ratio > 1:
                drivetrain = drivetrain.with_mount(drivetrain.mount_for_peak_arm(oval.peak_arm_deg))
            speed = self._speed(drivetrain)
            rows += [
                {
                    "axis_ratio": ratio,
                    "sectors": count,
                    "error_pct": 100 * power_error(self.torque_Nm, speed, count),
                }
                for count in SECTORS_ALONG_RATIO
            ]
        return pd.DataFrame(rows)

    def errors_by_peak_arm(self) -> pd.DataFrame:
        """Return the error of a meter with one speed a turn as the oval ring is turned: ``peak_arm_deg, error_pct``."""
        oval = self.drivetrains["oval"]
        peaks = np.arange(0, 181, 3)
        errors = []
        for peak in peaks:
            turned = oval.with_mount(oval.mount_for_peak_arm(float(peak)))
            errors.append(100 * power_error(self.torque_Nm, self._speed(turned)))
        return pd.DataFrame({"peak_arm_deg": peaks, "error_pct": errors})

    def _speed(self, drivetrain: Drivetrain) -> np.ndarray:
        return drivetrain.steady_speed(self.torque_Nm, self.cadence_rpm)


def closed_form_error_pct(torque_Nm: np.ndarray, axis_ratio: float, peak_arm_deg: float) -> float:
    """Return the first-order error of a meter with one speed a turn on a chain of steady speed, in %.

    For torque T₀[1 + A cos 2(θ − P)] it is (A ε / 2) cos 2(M − P), with ε = (e − 1)/(e + 1) and peak arm M;
    the torque's own second harmonic gives A and P.

    Examples
    --------
    A = 0.75, e = 1.10 (ε = 0.0476), ring in phase: 0.75 · 0.0476 / 2 = 1.79 %.
    """
    harmonic = np.fft.rfft(torque_Nm)[2] / torque_Nm.size
    ripple = 2 * abs(harmonic) / float(np.mean(torque_Nm))
    slenderness = (axis_ratio - 1) / (axis_ratio + 1)
    lag = np.radians(2 * (peak_arm_deg - torque_phase_deg(torque_Nm)))
    return float(100 * ripple * slenderness / 2 * np.cos(lag))


def _geometry(role: str, drivetrain: Drivetrain) -> dict[str, object]:
    ring = drivetrain.ring
    gear = drivetrain.gear(crank_angles(3600))
    return {
        "ring": role,
        "teeth": ring.teeth,
        "axis_ratio": ring.axis_ratio,
        "semi_major_mm": 1000 * ring.semi_major_m,
        "semi_minor_mm": 1000 * ring.semi_minor_m,
        "area_cm2": 1e4 * ring.area_m2,
        "largest_gear": float(gear.max()),
        "smallest_gear": float(gear.min()),
        "mount_deg": np.nan if ring.is_round else drivetrain.mount_deg,
        "peak_arm_deg": np.nan if ring.is_round else drivetrain.peak_arm_deg,
    }
