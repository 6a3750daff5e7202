"""How much of the prediction hangs on the torque–speed slope."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, SteadyTurn, steady_turn
from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import slope_panels
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.statistics.estimates import show_number

LOSSES_PCT_PER_RPM = (0.0, 0.3, 0.6, 1.2, 2.4)
"""From torque that takes no notice of speed, through maximal cycling and held power, to twice the latter."""


def sensitivity(rings: RingComparison, mounts_deg: list[float]) -> pd.DataFrame:
    """Predict the turn on the oval ring for several slopes, the one at hand among them.

    Parameters
    ----------
    rings : RingComparison
    mounts_deg : list of float
        Available mounts, for the best of them by crank speed and by peak torque.

    Returns
    -------
    DataFrame
        One row a slope: ``lost_pct_per_rpm, at_hand, power_change_pct, peak_change_pct, phase_change_deg,
        speed_swing_pct, meter_error_pct, mount_by_speed_deg, mount_by_peak_deg``; changes oval − round.
    """
    at_hand = rings.slope.lost_at(rings.cadence_rpm)
    losses = sorted({at_hand, *LOSSES_PCT_PER_RPM})
    return pd.DataFrame(
        [
            {"lost_pct_per_rpm": lost, "at_hand": lost == at_hand}
            | _row(replace(rings, slope=StrokeSlope(lost)), mounts_deg)
            for lost in losses
        ]
    )


def _row(rings: RingComparison, mounts_deg: list[float]) -> dict[str, float]:
    oval = rings.drivetrains["oval"]
    before, after = rings.torque_Nm, _turn(rings, oval.mount_deg)
    turns = {mount: _turn(rings, mount) for mount in mounts_deg}
    spread = {
        mount: float(np.std(turn.speed_rad_s) / turn.speed_rad_s.mean()) for mount, turn in turns.items()
    }
    peak = {mount: float(turn.torque_Nm.max() / turn.torque_Nm.mean()) for mount, turn in turns.items()}
    return {
        "power_change_pct": 100 * (after.power_W / rings.power_W - 1),
        "peak_change_pct": 100 * (float(after.torque_Nm.max() / before.max()) - 1),
        "phase_change_deg": float(axial_change_deg(after.torque_phase_deg - rings.torque_phase_deg)),
        "speed_swing_pct": 100 * after.speed_swing,
        "meter_error_pct": 100 * power_error(after.torque_Nm, after.speed_rad_s),
        "mount_by_speed_deg": _least(spread),
        "mount_by_peak_deg": _least(peak),
    }


def _least(losses: dict[float, float]) -> float:
    """The mount of least loss; NaN where the mount makes no difference, as for the peak of a torque that stays."""
    alike = max(losses.values()) - min(losses.values()) < 1e-9
    return float("nan") if alike else min(losses, key=losses.__getitem__)


def _turn(rings: RingComparison, mount_deg: float) -> SteadyTurn:
    stroke = make_stroke(rings.torque_Nm, rings.speeds["round"], rings.slope_Nms)
    drivetrain = rings.drivetrains["oval"].with_mount(mount_deg)
    return steady_turn(drivetrain, stroke, Resistance(), mean_cadence_rpm=rings.cadence_rpm)


def slope_sentences(rings: RingComparison, frame: pd.DataFrame) -> list[str]:
    """Say what the slope at hand is, what hangs on it and what does not."""
    power, phase, meter = (
        _range(frame[name], unit)
        for name, unit in (("power_change_pct", " %"), ("phase_change_deg", "°"), ("meter_error_pct", " %"))
    )
    moved = frame[["mount_by_speed_deg", "mount_by_peak_deg"]].nunique()
    mounts = (
        "the best available mount stays the same by crank speed and by peak torque"
        if moved.max() <= 1
        else "the best available mount changes with it by "
        + " and by ".join(
            name for name, count in zip(("crank speed", "peak torque"), moved, strict=True) if count > 1
        )
    )
    return [
        rings.slope.sentence(),
        (
            f"From no loss to {show_number(frame['lost_pct_per_rpm'].max(), 1)} % per rpm the predicted change of power"
            f" runs over {power}, of torque phase over {phase} and the meter's error over {meter}; {mounts}. The largest"
            " arm at the torque phase of the round-ring stroke does not ask for it."
        ),
    ]


def slope_exhibit(frame: pd.DataFrame) -> FigureExhibit:
    """Draw change of power, torque phase and meter error against the slope."""
    return FigureExhibit(
        "slope_sensitivity",
        slope_panels(frame),
        "What mechanics predicts on the oval ring against the torque that a rider loses per rpm. Filled: the slope at"
        " hand. At the same mean cadence power changes because more of the turn's torque is given while the crank is"
        " slow.",
        "Three line charts against torque lost per rpm: change of power, change of torque phase, meter error.",
        frame,
    )


def slope_table(frame: pd.DataFrame) -> TableExhibit:
    """Give the prediction for each slope."""
    digits = {name: 2 for name in frame.columns[:7] if name != "at_hand"}
    return TableExhibit(
        "slope_sensitivity",
        frame,
        "Prediction on the oval ring by torque–speed slope, changes oval − round at the same mean cadence; meter: one"
        " speed reading a turn; best available mount by least spread of crank speed and by least peak torque.",
        {
            "lost_pct_per_rpm": "torque lost (% per rpm)",
            "power_change_pct": "power (%)",
            "peak_change_pct": "peak torque (%)",
            "phase_change_deg": "torque phase (deg)",
            "speed_swing_pct": "speed swing (%)",
            "meter_error_pct": "meter error (%)",
            "mount_by_speed_deg": "mount by speed (deg)",
            "mount_by_peak_deg": "mount by peak (deg)",
        },
        digits | {"mount_by_speed_deg": 0, "mount_by_peak_deg": 0},
    )


def _range(values: pd.Series, unit: str) -> str:
    low, high = (show_number(float(end), 2, signed=True) for end in (values.min(), values.max()))
    return f"{low} to {high}{unit}"
