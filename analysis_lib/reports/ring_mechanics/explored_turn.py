"""One turn at one choice of ring, mount, inertia, cadence and intensity: everything the explorer shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.inertia import with_crank_inertia
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.power_error import meter_error_by_sectors
from analysis_lib.mechanics.prediction import carry_joint_torques
from analysis_lib.mechanics.ring import Ring
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import StatedLegs, stated_legs
from analysis_lib.reports.rider.ring_comparison import SECTORS
from analysis_lib.statistics.estimates import show_number

ANGLES = 180
"""Every second degree: enough for the eye, and quick."""


@dataclass(frozen=True)
class Choice:
    """What the sliders stand at.

    Attributes
    ----------
    axis_ratio, mount_deg : float
        Shape of the ring, and right crank to major axis.
    crank_load_kgm2 : float
        Crank inertial load: 80 to 110 on the road, 2 to 100 on ergometers.
    cadence_rpm : float
    intensity : str
        Whose stroke drives the crank.
    """

    axis_ratio: float
    mount_deg: float
    crank_load_kgm2: float
    cadence_rpm: float
    intensity: str


@dataclass(frozen=True)
class ExploredTurn:
    """What a choice does.

    Attributes
    ----------
    choice : Choice
    curves : DataFrame
        One row a ring and angle: ``ring, crank_deg, arm_mm, speed_rpm, torque_Nm, torque_joints_Nm, hip_deg_s,
        knee_deg_s, ankle_deg_s``; ``torque_Nm`` is the measured stroke, ``torque_joints_Nm`` the torque with
        unchanged joint torques.
    errors : DataFrame
        One row a ring and number of speed readings: ``ring, sectors, error_pct``.
    peak_arm_deg : float
        NaN on a round ring.
    power_W : float
    """

    choice: Choice
    curves: pd.DataFrame
    errors: pd.DataFrame
    peak_arm_deg: float
    power_W: float

    def sentence(self) -> str:
        """The turn in words."""
        oval = self.curves[self.curves["ring"] == "oval"]
        swing = 100 * float(np.ptp(oval["speed_rpm"])) / self.choice.cadence_rpm
        here = self.errors[(self.errors["ring"] == "oval") & (self.errors["sectors"] == 1)]
        error = float(here["error_pct"].iloc[0])
        arm = (
            "no largest arm"
            if np.isnan(self.peak_arm_deg)
            else f"largest arm at {self.peak_arm_deg:.0f}° and {self.peak_arm_deg + 180:.0f}°"
        )
        return (
            f"Axis ratio {self.choice.axis_ratio:.2f} at {self.choice.mount_deg:.0f}°: {arm}; crank speed swings by"
            f" {swing:.1f} % of its mean; a meter with one speed reading a turn errs by"
            f" {show_number(error, 2, signed=True)} % ({show_number(error * self.power_W / 100, 1, signed=True)} W of"
            f" {self.power_W:.0f} W)."
        )


@dataclass(frozen=True)
class ExplorerBench:
    """What stays the same while the sliders move.

    Attributes
    ----------
    drivetrain : Drivetrain
        The study's, with its round ring.
    strokes_Nm : dict of intensity to array of shape (ANGLES,)
        Two-leg torque measured on the round ring.
    legs : StatedLegs
        At as many angles.
    """

    drivetrain: Drivetrain
    strokes_Nm: Mapping[str, np.ndarray]
    legs: StatedLegs

    def turn(self, choice: Choice) -> ExploredTurn:
        """Work out one turn.

        Raises
        ------
        Refusal
            A choice that no drive allows, such as so little inertia that the crank all but stops.
        """
        torque = self.strokes_Nm[choice.intensity]
        frames, errors = [], []
        for ring, drivetrain in self._drivetrains(choice).items():
            curves, speed = self._curves(drivetrain, torque, choice.cadence_rpm)
            frames.append(curves.assign(ring=ring))
            found = meter_error_by_sectors(torque, speed, SECTORS)
            errors.append(
                found.assign(ring=ring, error_pct=100 * found["relative_error"])[
                    ["ring", "sectors", "error_pct"]
                ]
            )
        oval = self._drivetrains(choice)["oval"]
        return ExploredTurn(
            choice,
            pd.concat(frames, ignore_index=True),
            pd.concat(errors, ignore_index=True),
            np.nan if oval.ring.is_round else oval.peak_arm_deg,
            float(torque.mean()) * choice.cadence_rpm * 2 * np.pi / 60,
        )

    def _drivetrains(self, choice: Choice) -> dict[str, Drivetrain]:
        round_drive = with_crank_inertia(self.drivetrain, choice.crank_load_kgm2)
        teeth = round_drive.ring.teeth
        ring = Ring.round(teeth) if choice.axis_ratio == 1 else Ring.ellipse(teeth, choice.axis_ratio)
        return {"round": round_drive, "oval": replace(round_drive, ring=ring, mount_deg=choice.mount_deg)}

    def _curves(
        self, drivetrain: Drivetrain, torque: np.ndarray, cadence_rpm: float
    ) -> tuple[pd.DataFrame, np.ndarray]:
        angle = crank_angles(ANGLES)
        speed = drivetrain.steady_speed(torque, cadence_rpm)
        on_round = replace(self.drivetrain, wheel_inertia_kgm2=drivetrain.wheel_inertia_kgm2)
        before = on_round.steady_speed(torque, cadence_rpm)
        joints, _ = carry_joint_torques(drivetrain, torque, before, cadence_rpm, self.legs.pair)
        hip, knee, ankle = np.degrees(self.legs.path.joint_rates() * speed)
        curves = pd.DataFrame(
            {
                "crank_deg": np.degrees(angle),
                "arm_mm": 1000 * drivetrain.lever_arm(angle),
                "speed_rpm": speed * 60 / (2 * np.pi),
                "torque_Nm": torque,
                "torque_joints_Nm": joints,
                "hip_deg_s": hip,
                "knee_deg_s": knee,
                "ankle_deg_s": ankle,
            }
        )
        return curves, speed


def bench_for(analysis: RiderAnalysis, body_mass_kg: float, crank_length_mm: float) -> ExplorerBench:
    """Set up the bench with one rider's strokes and the study's round ring."""
    settings = analysis.study.settings
    return ExplorerBench(
        settings.drivetrain_for(settings.ring_in_role("round")),
        {name: torque[:: 360 // ANGLES] for name, torque in analysis.stroke.mean_Nm.items()},
        stated_legs(body_mass_kg, crank_length_mm / 1000, angles=ANGLES),
    )
