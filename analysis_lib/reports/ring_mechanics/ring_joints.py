"""The joints on both rings: how fast they move, and how little their moments are known from torque alone."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.prediction import ROUND, SAME_FORCE, StrokePrediction, predict_on_oval
from analysis_lib.mechanics.radial_force import JointLoadRange, range_joint_loads
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.joint_figures import joint_moment_panels, joint_speed_panels
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.reports.rider.ring_comparison import RingComparison

PUBLISHED_MATCH_RPM = {1.13: 78.0, 1.24: 75.0}
"""Leong, Elmer and Martin 2022: cadence on a round ring that reproduces the pedal speed of these axis ratios at 80 rpm."""

MATCHED_AT_RPM = 80.0
HALF_WIDTHS_DEG = (45.0, 60.0)

EXTENSIONS = {"hip_deg_s": "hip", "knee_deg_s": "knee"}


def joint_prediction(rings: RingComparison, legs: StatedLegs) -> StrokePrediction:
    """Carry the stroke from the round to the oval ring, with the speeds of the joints under every assumption."""
    drives = rings.drivetrains
    return predict_on_oval(
        drives["round"], drives["oval"], rings.torque_Nm, rings.cadence_rpm, rings.slope_Nms, legs.pair
    )


def joint_exhibit(prediction: StrokePrediction) -> FigureExhibit:
    """Draw the speed of hip, knee and ankle of the right leg on both rings."""
    speeds = _both_rings(prediction)
    return FigureExhibit(
        "joint_speeds",
        joint_speed_panels(speeds),
        "Joint speeds of the right leg through the turn, positive in flexion (hip, knee) and plantarflexion (ankle);"
        " unchanged force on both rings. The angles of the joints follow from the crank angle and are the same on both"
        " rings: a ring changes when the joints get there, not where they go.",
        "Three line charts of joint speed against crank angle for hip, knee and ankle, round and oval ring.",
        speeds,
    )


def joint_table(prediction: StrokePrediction) -> TableExhibit:
    """Give the fastest extension of hip and knee on both rings."""
    rows = []
    for ring, curve in _both_rings(prediction).groupby("ring", sort=False):
        row: dict[str, object] = {"ring": ring}
        for column, joint in EXTENSIONS.items():
            fastest = int(curve[column].to_numpy().argmin())
            row |= {
                f"{joint}_deg_s": -float(curve[column].to_numpy()[fastest]),
                f"{joint}_at_deg": float(curve["crank_deg"].to_numpy()[fastest]),
            }
        rows.append(row)
    return TableExhibit(
        "joint_speeds",
        pd.DataFrame(rows),
        "Fastest extension of hip and knee in a turn, and the crank angle at which it comes.",
        {f"{joint}_deg_s": f"{joint} extends (deg/s)" for joint in EXTENSIONS.values()}
        | {f"{joint}_at_deg": "at (deg)" for joint in EXTENSIONS.values()},
        {"hip_deg_s": 0, "hip_at_deg": 0, "knee_deg_s": 0, "knee_at_deg": 0},
    )


def speed_match_table() -> TableExhibit:
    """Set the published match of pedal speed beside what geometry gives."""
    frame = pd.DataFrame([_match(ratio) for ratio in PUBLISHED_MATCH_RPM])
    return TableExhibit(
        "speed_match",
        frame,
        f"Cadence on a round ring that gives the pedal speed of an oval ring's power stroke at"
        f" {MATCHED_AT_RPM:.0f} rpm: published (Leong, Elmer and Martin 2022), and mean crank speed within 45° and 60°"
        " of the largest arm on a chain of steady speed. The published match lies between the two windows or at the"
        " wider one.",
        {
            "axis_ratio": "axis ratio",
            "published_rpm": "published (rpm)",
            "within_45_rpm": "within 45° (rpm)",
            "within_60_rpm": "within 60° (rpm)",
        },
        {"axis_ratio": 2, "published_rpm": 0, "within_45_rpm": 1, "within_60_rpm": 1},
    )


def _match(axis_ratio: float) -> dict[str, float]:
    matched = matching_cadences(axis_ratio, MATCHED_AT_RPM)
    names = [f"within_{half_width:.0f}_rpm" for half_width in HALF_WIDTHS_DEG]
    return {
        "axis_ratio": axis_ratio,
        "published_rpm": PUBLISHED_MATCH_RPM[axis_ratio],
        **dict(zip(names, matched, strict=True)),
    }


def matching_cadences(axis_ratio: float, cadence_rpm: float) -> list[float]:
    """Cadences on a round ring that give the pedal speed of an oval ring's power stroke.

    The mean crank speed within 45° and within 60° of the largest arm, on a chain of steady speed: angle over
    the time it takes, as a video of the pedal would tell it.
    """
    drivetrain = Drivetrain(Ring.ellipse(52, axis_ratio), wheel_inertia_kgm2=np.inf)
    speed = drivetrain.steady_speed(np.ones(3600), cadence_rpm)
    away = np.abs((np.arange(3600) / 10 - drivetrain.peak_arm_deg + 90) % 180 - 90)
    return [
        60 / (2 * np.pi) / float(np.mean(1 / speed[away <= half_width])) for half_width in HALF_WIDTHS_DEG
    ]


def moment_range(
    analysis: RiderAnalysis, intensity: str, rings: RingComparison, legs: StatedLegs
) -> JointLoadRange:
    """Joint moments of the right leg on the round ring, over the radial forces that are plausible.

    Raises
    ------
    Refusal
        Where the right leg's own torque was not measured, or its ups and downs rule out the range.
    """
    torque = right_leg_Nm(analysis, intensity)
    return range_joint_loads(legs.path, legs.segments, rings.speeds["round"], torque)


def right_leg_Nm(analysis: RiderAnalysis, intensity: str) -> np.ndarray:
    """Mean torque of the right leg through the turn of the trials that tell the stroke; refused without its channel."""
    trials = analysis.stroke_trials(intensity)["trial"]
    return np.mean([analysis.results[trial].torque_at_angles("right") for trial in trials], axis=0)


def moment_exhibit(loads: JointLoadRange) -> FigureExhibit:
    """Draw the range of each joint's moment."""
    frame = loads.to_frame()
    widest = {
        joint: float((frame[f"{joint}_Nm_high"] - frame[f"{joint}_Nm_low"]).max())
        for joint in ("hip", "knee", "ankle")
    }
    words = ", ".join(f"{joint} {width:.0f}" for joint, width in widest.items())
    return FigureExhibit(
        "joint_moments",
        joint_moment_panels(frame),
        "Moments at hip, knee and ankle of the right leg on the round ring, positive where they extend. Shaded: range"
        f" over the plausible radial forces; at its widest (N·m): {words}. Segments: {loads.cases[0].loads.source}. A"
        " difference of rings smaller than the shade cannot be claimed from torque alone.",
        f"Three shaded bands of joint moment against crank angle; widest in newton metres: {words}.",
        frame,
    )


def _both_rings(prediction: StrokePrediction) -> pd.DataFrame:
    speeds = prediction.joint_speeds
    if speeds is None:
        raise Refusal("joint speeds", "a prediction without legs", "one with legs", "give the legs to it")
    names = {ROUND: "round", SAME_FORCE: "oval"}
    here = speeds[speeds["assumption"].isin(list(names))]
    return here.assign(ring=here["assumption"].map(names)).drop(columns="assumption")


def segments_table(legs: StatedLegs) -> TableExhibit:
    """Print the segments as they are used, by the table chosen, for one leg."""
    rows = [
        {
            "segment": name,
            "length_m": part.length_m,
            "mass_kg": part.mass_kg,
            "mass_share_pct": 100 * part.mass_kg / legs.body_mass_kg,
            "centre_pct": 100 * part.centre,
            "gyration_m": np.sqrt(part.inertia_kgm2 / part.mass_kg),
            "inertia_kgm2": part.inertia_kgm2,
        }
        for name in ("thigh", "shank", "foot")
        for part in [getattr(legs.segments, name)]
    ]
    return TableExhibit(
        "segments",
        pd.DataFrame(rows),
        f"Segments of one leg by {legs.segments.source}, body mass {legs.body_mass_kg:g} kg: mass in kg and in % of the"
        " body; centre of mass from the proximal joint in % of the length; radius of gyration and inertia about the"
        " centre of mass, transverse axis. Foot: ankle to pedal.",
        {
            "length_m": "length (m)",
            "mass_kg": "mass (kg)",
            "mass_share_pct": "mass (% of body)",
            "centre_pct": "centre (% of length)",
            "gyration_m": "radius of gyration (m)",
            "inertia_kgm2": "inertia (kg·m²)",
        },
        {
            "length_m": 3,
            "mass_kg": 3,
            "mass_share_pct": 2,
            "centre_pct": 2,
            "gyration_m": 4,
            "inertia_kgm2": 4,
        },
    )
