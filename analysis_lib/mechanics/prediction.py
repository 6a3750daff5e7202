"""The prediction: a stroke measured on a round ring, carried to an oval one under stated assumptions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis_lib.mechanics.crank_dynamics import Resistance, steady_turn
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.inverse_dynamics import leg_inertia
from analysis_lib.mechanics.leg import LegPath
from analysis_lib.mechanics.periodic import axial_phase_deg, check_turn, crank_angles, differentiate_turn
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.segments import LegSegments
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number

ROUND = "round ring, as measured"
SAME_FORCE = "unchanged force"
SAME_SURFACE = "unchanged torque–angle–speed surface"
SAME_JOINTS = "unchanged joint torques"

METHOD = (
    "Mechanics alone, at the same mean cadence against a constant resistance: unchanged force keeps the crank "
    "torque at every angle; the unchanged surface lets it fall with crank speed by the given slope; "
    "unchanged joint torques keep hip, knee and ankle moments at every angle, so that the legs' inertia moves "
    "torque about within the turn. The band is the range of these assumptions, not a confidence interval: "
    "riders adapt, and none of the assumptions knows how."
)

Legs = tuple[LegPath, LegSegments]
Turn = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class StrokePrediction:
    """Torque, speed, joint speeds and power on an oval ring under each assumption, beside the round ring.

    Attributes
    ----------
    curves : DataFrame
        One row an assumption and angle: ``assumption, crank_deg, torque_Nm, speed_rpm``.
    summary : DataFrame
        One row an assumption: ``assumption, power_W, peak_torque_Nm, torque_phase_deg, speed_swing_percent,
        meter_error_percent``, the last with one speed reading a turn.
    joint_speeds : DataFrame or None
        One row an assumption and angle of the right leg: ``assumption, crank_deg, hip_deg_s, knee_deg_s,
        ankle_deg_s``, positive in flexion and plantarflexion; None without legs. The joint angles themselves
        follow from the crank angle and do not change.
    mean_cadence_rpm : float
    method : str
    """

    curves: pd.DataFrame
    summary: pd.DataFrame
    joint_speeds: pd.DataFrame | None
    mean_cadence_rpm: float
    method: str = METHOD

    def band(self) -> pd.DataFrame:
        """Range over the assumptions on the oval ring: ``crank_deg``, low and high of torque and speed."""
        oval = self.curves[self.curves["assumption"] != ROUND]
        ways = oval["assumption"].nunique()
        torque, speed = (oval[name].to_numpy().reshape(ways, -1) for name in ("torque_Nm", "speed_rpm"))
        return pd.DataFrame(
            {
                "crank_deg": oval["crank_deg"].to_numpy()[: torque.shape[1]],
                "torque_low_Nm": torque.min(axis=0),
                "torque_high_Nm": torque.max(axis=0),
                "speed_low_rpm": speed.min(axis=0),
                "speed_high_rpm": speed.max(axis=0),
            }
        )

    def fastest_extension_deg_s(self, joint: str) -> pd.Series:
        """Fastest extension of the hip or the knee by assumption; refused without legs."""
        if self.joint_speeds is None:
            raise Refusal("joint speeds", "a prediction without legs", "one with legs", "give the legs to it")
        return -self.joint_speeds.groupby("assumption", sort=False)[f"{joint}_deg_s"].min()

    def sentence(self) -> str:
        """The prediction in words."""
        oval = self.summary[self.summary["assumption"] != ROUND]
        before = self.summary.loc[self.summary["assumption"] == ROUND].iloc[0]
        change = oval["power_W"] - before["power_W"]
        low, high = (show_number(end, 1, signed=True) for end in (change.min(), change.max()))
        return (
            f"At {self.mean_cadence_rpm:.0f} rpm, over {len(oval)} assumptions, mechanics alone changes power "
            f"by {low} to {high} W and makes the crank speed swing by "
            f"{oval['speed_swing_percent'].min():.1f} to {oval['speed_swing_percent'].max():.1f} % of its "
            f"mean, from {before['speed_swing_percent']:.1f} % on the round ring. {self.method}"
        )


def predict_on_oval(
    round_drivetrain: Drivetrain,
    oval_drivetrain: Drivetrain,
    torque_Nm: ArrayLike,
    mean_cadence_rpm: float,
    slope_Nms: ArrayLike | None = None,
    legs: Legs | None = None,
) -> StrokePrediction:
    """Predict the turn on an oval ring from one measured on a round ring.

    With J the inertia of both legs at the crank, unchanged joint torques give at the crank

        T_oval = T_round + d/dθ[½ J ω²]_round − d/dθ[½ J ω²]_oval.

    Parameters
    ----------
    round_drivetrain, oval_drivetrain : Drivetrain
        As ridden and as asked about; the first with a round ring.
    torque_Nm : array of shape (angles,)
        Two-leg torque measured on the round ring; an even number of angles.
    mean_cadence_rpm : float
    slope_Nms : float or array of shape (angles,)
        ∂T/∂ω for the unchanged surface (see `make_stroke`); the assumption is left out without it.
    legs : (LegPath, LegSegments)
        The right leg by its own crank angle, the left one taken as its equal half a turn later; the
        assumption about joint torques is left out without it.

    Raises
    ------
    Refusal
        A first ring that is not round, torque and leg path at different angles.
    """
    torque, _ = check_turn(torque_Nm, "torque_Nm")
    if not round_drivetrain.ring.is_round:
        raise Refusal(
            "round_drivetrain",
            f"a ring of axis ratio {round_drivetrain.ring.axis_ratio:.3f}",
            "the round ring on which the torque was measured",
            "exchange the two drivetrains, or measure on a round ring",
        )
    speed = round_drivetrain.steady_speed(torque, mean_cadence_rpm)
    turns: dict[str, Turn] = {
        ROUND: (torque, speed),
        SAME_FORCE: (torque, oval_drivetrain.steady_speed(torque, mean_cadence_rpm)),
    }
    if slope_Nms is not None:
        surface = make_stroke(torque, speed, slope_Nms)
        turn = steady_turn(oval_drivetrain, surface, Resistance(), mean_cadence_rpm=mean_cadence_rpm)
        turns[SAME_SURFACE] = (turn.torque_Nm, turn.speed_rad_s)
    if legs is not None:
        turns[SAME_JOINTS] = carry_joint_torques(oval_drivetrain, torque, speed, mean_cadence_rpm, legs)
    return StrokePrediction(
        curves=_curves(turns),
        summary=pd.DataFrame([_summary(name, turn) for name, turn in turns.items()]),
        joint_speeds=None if legs is None else _joint_speeds(turns, legs[0]),
        mean_cadence_rpm=mean_cadence_rpm,
    )


def carry_joint_torques(
    drivetrain: Drivetrain, torque: FloatArray, speed: FloatArray, cadence_rpm: float, legs: Legs
) -> Turn:
    """Torque and speed on another drivetrain if the joints' torque stays the same at every angle.

    It works either way: from a round ring to an oval one, or back.

    Parameters
    ----------
    drivetrain : Drivetrain
        To carry the turn to.
    torque, speed : arrays of shape (angles,)
        Two-leg torque and crank speed on the ring ridden, at an even number of angles.
    cadence_rpm : float
    legs : (LegPath, LegSegments)

    Returns
    -------
    (array, array)
        Crank torque and speed on `drivetrain`.
    """
    right = leg_inertia(*legs)
    if right.size != torque.size or torque.size % 2:
        raise Refusal(
            "legs",
            f"a path of {right.size} angles for a torque of {torque.size}",
            "the same, even number of angles",
            "follow the leg at the angles of the torque",
        )
    both = right + np.roll(right, right.size // 2)
    joints = torque + differentiate_turn(both * speed**2 / 2)
    oval_speed = drivetrain.steady_speed(joints, cadence_rpm, both)
    return joints - differentiate_turn(both * oval_speed**2 / 2), oval_speed


def _curves(turns: dict[str, Turn]) -> pd.DataFrame:
    torque, speed = (np.stack([turn[part] for turn in turns.values()]) for part in (0, 1))
    ways, angles = torque.shape
    return pd.DataFrame(
        {
            "assumption": np.repeat(list(turns), angles),
            "crank_deg": np.tile(np.degrees(crank_angles(angles)), ways),
            "torque_Nm": torque.ravel(),
            "speed_rpm": speed.ravel() * 60 / (2 * math.pi),
        }
    )


def _summary(assumption: str, turn: Turn) -> dict[str, float | str]:
    torque, speed = turn
    mean_speed = 1 / float(np.mean(1 / speed))
    return {
        "assumption": assumption,
        "power_W": float(torque.mean()) * mean_speed,
        "peak_torque_Nm": float(torque.max()),
        "torque_phase_deg": axial_phase_deg(torque),
        "speed_swing_percent": 100 * float(np.ptp(speed)) / mean_speed,
        "meter_error_percent": 100 * power_error(torque, speed),
    }


def _joint_speeds(turns: dict[str, Turn], path: LegPath) -> pd.DataFrame:
    speed = np.stack([turn[1] for turn in turns.values()])
    hip, knee, ankle = np.degrees(path.joint_rates()[:, None, :] * speed)
    return pd.DataFrame(
        {
            "assumption": np.repeat(list(turns), speed.shape[1]),
            "crank_deg": np.tile(np.degrees(path.crank_rad), len(turns)),
            "hip_deg_s": hip.ravel(),
            "knee_deg_s": knee.ravel(),
            "ankle_deg_s": ankle.ravel(),
        }
    )
