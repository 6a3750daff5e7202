"""The correction of another meter's power for one rider, on the study's rings and at every intensity."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.meter_correction import (
    DriveUncertainty,
    MeterCorrection,
    correct_meter,
    corrections_frame,
)
from analysis_lib.mechanics.power_error import power_errors_by_sectors
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.stroke_draws import StrokeDraws
from analysis_lib.statistics.estimates import show_number
from analysis_lib.statistics.trial_table import RINGS

SECTORS = (1, 2, 4, 8, 16)
NEGLIGIBLE = 0.001
"""A correction of a thousandth is below what any meter can tell; common practice, no source."""
ASSUMED_INERTIA_PCT, ASSUMED_MOUNT_DEG, ASSUMED_ANGLE_DEG = 20.0, 1.0, 1.0
"""Standard uncertainties where study.toml declares none; common practice, no source."""


@dataclass(frozen=True)
class RiderCorrections:
    """The corrections of one rider's readings.

    Attributes
    ----------
    found : dict of (intensity, ring) to list of MeterCorrection
    power_W : dict of (intensity, ring) to float
        The rider's power there.
    measured : dict of (intensity, ring) to list of float
        The same factors by the crank speed that was recorded, mean over trials; not a number where none was ridden.
    known_to : DriveUncertainty
        What inertia, mount and angle zero are known to.
    assumed : list of str
        What of it study.toml does not declare.
    mount_deg : float
    labels : dict of str to str
        What pages call the intensities.
    """

    found: dict[tuple[str, str], list[MeterCorrection]]
    power_W: dict[tuple[str, str], float]
    measured: dict[tuple[str, str], list[float]]
    known_to: DriveUncertainty
    assumed: list[str]
    mount_deg: float
    labels: dict[str, str]

    @once
    def to_frame(self) -> pd.DataFrame:
        """Return one row an intensity, ring and meter; see `corrections_frame`."""
        frames = []
        for (intensity, ring), parts in self.found.items():
            frame = corrections_frame(parts, self.power_W[intensity, ring])
            frame["factor_measured"] = self.measured[intensity, ring]
            frame.insert(0, "ring", ring)
            frame.insert(0, "intensity", intensity)
            frames.append(frame)
        return pd.concat(frames, ignore_index=True)


def correct_meters(analysis: RiderAnalysis) -> RiderCorrections:
    """Return the correction of meters with few speed readings a turn for a rider.

    The torque is that of the rider's own trials on the ring, where there are any, else the stroke on the other ring.

    Raises
    ------
    Refusal
        When no trial tells the torque of both legs.
    """
    known_to, assumed = _known_to(analysis)
    drivetrains = analysis.drivetrains(analysis.mount_deg)
    seed = analysis.study.settings.study.seed
    found, power, measured = {}, {}, {}
    for intensity in analysis.intensities:
        for ring in RINGS:
            stroke = _stroke_on(analysis, intensity, ring)
            torque, cadence = stroke.mean_Nm[intensity], stroke.cadence_rpm[intensity]
            drawn = stroke.torque_Nm[intensity]
            found[intensity, ring] = correct_meter(
                drivetrains[ring], torque, drawn, cadence, known_to, seed, SECTORS
            )
            power[intensity, ring] = float(torque.mean()) * cadence * 2 * math.pi / 60
            measured[intensity, ring] = _measured_factors(analysis, intensity, ring)
    labels = analysis.study.settings.intensity_labels
    return RiderCorrections(found, power, measured, known_to, assumed, analysis.mount_deg, labels)


def _stroke_on(analysis: RiderAnalysis, intensity: str, ring: str) -> StrokeDraws:
    there = len(analysis.used_on(intensity, ring))
    return analysis.ring_draws(intensity, ring) if there else analysis.stroke


def _measured_factors(analysis: RiderAnalysis, intensity: str, ring: str) -> list[float]:
    """Mean factor of the trials at one intensity on one ring, by the crank speed that was recorded."""
    here = analysis.used_on(intensity, ring)
    if here.empty:
        return [math.nan] * len(SECTORS)
    results = [analysis.results[str(trial)] for trial in here["trial"]]
    torque = np.stack([result.torque_at_angles() for result in results])
    speed = np.stack([result.speed_at_angles() for result in results])
    errors = power_errors_by_sectors(torque, speed, SECTORS)
    return [float(np.mean(1 / (1 + error))) for error in errors]


def _known_to(analysis: RiderAnalysis) -> tuple[DriveUncertainty, list[str]]:
    declared = analysis.study.settings.drivetrain
    recorders = [analysis.study.settings.recorders[name] for name in analysis.used["recorder"].unique()]
    angles = [part.angle_zero_uncertainty_deg for part in recorders]
    inertia, mount = declared.inertia_uncertainty_pct, declared.mount_uncertainty_deg
    assumed = []
    if inertia is None:
        assumed.append(f"inertia to {ASSUMED_INERTIA_PCT:g} %")
    if mount is None:
        assumed.append(f"mount angle to {ASSUMED_MOUNT_DEG:g}°")
    if None in angles:
        assumed.append(f"angle zero to {ASSUMED_ANGLE_DEG:g}°")
    known_to = DriveUncertainty(
        (ASSUMED_INERTIA_PCT if inertia is None else inertia) / 100,
        ASSUMED_MOUNT_DEG if mount is None else mount,
        max(ASSUMED_ANGLE_DEG if angle is None else angle for angle in angles),
    )
    return known_to, assumed


def correction_table(corrections: RiderCorrections) -> TableExhibit:
    """Give the factor and the watts by which to correct each reading, with their intervals."""
    known = corrections.known_to
    frame = corrections.to_frame()
    idle = _needs_none(frame)
    return TableExhibit(
        "meter_correction",
        frame[~idle].reset_index(drop=True),
        "Correction of a meter that averages torque over time, by speed readings a turn (oval at"
        f" {corrections.mount_deg:g}°): power = reading × factor = reading + watts. 95 % by Monte Carlo (JCGM 101:2008):"
        f" turns, periods, inertia ({100 * known.inertia_relative:g} %), mount ({known.mount_deg:g}°), angle zero"
        f" ({known.angle_zero_deg:g}°). Last column: by the recorded speed; far off, resistance or inertia is"
        f" another.{_about_idle(frame[idle])}",
        {
            "sectors": "readings",
            "power_W": "power (W)",
            "meter_W": "meter shows (W)",
            "factor_measured": "factor, recorded speed",
            "factor_low": "95 % low",
            "factor_high": "95 % high",
            "add_W": "add (W)",
            "add_low_W": "add, 95 % low",
            "add_high_W": "add, 95 % high",
        },
        dict.fromkeys(("power_W", "meter_W"), 1)
        | dict.fromkeys(("factor", "factor_low", "factor_high", "factor_measured"), 4)
        | dict.fromkeys(("add_W", "add_low_W", "add_high_W"), 2),
    )


def _needs_none(frame: pd.DataFrame) -> pd.Series:
    """Mark the rows of a round ring that no reading needs correcting on; none where that would leave no row."""
    is_round = frame["ring"] == "round"
    factors = frame.loc[is_round, ["factor", "factor_measured"]].fillna(1.0)
    all_small = bool(((factors - 1).abs() < NEGLIGIBLE).all(axis=None))
    return is_round if all_small and not is_round.all() else is_round & False


def _about_idle(frame: pd.DataFrame) -> str:
    if frame.empty:
        return ""
    return f" On the round ring: none, {frame['add_W'].abs().max():.2f} W at most."


def correction_words(corrections: RiderCorrections) -> list[str]:
    """Say the largest correction, whether it is known, and what had to be assumed."""
    frame = corrections.to_frame()
    worst = frame.iloc[int(frame["add_W"].abs().argmax())]
    times = {1: "once", 2: "twice"}.get(worst["sectors"], f"{worst['sectors']} times")
    known = (worst["add_low_W"] > 0) == (worst["add_high_W"] > 0)
    where = f"{worst['ring']} ring at {corrections.labels[worst['intensity']]}"
    words = [
        f"The largest correction is that of a meter which reads the speed {times} a turn, on the {where}: it shows"
        f" {show_number(worst['meter_W'], 1)} W where the power is {show_number(worst['power_W'], 1)} W, and adding"
        f" {show_number(worst['add_W'], 2, signed=True)} W (95 % interval {show_number(worst['add_low_W'], 2, signed=True)}"
        f" to {show_number(worst['add_high_W'], 2, signed=True)} W) sets it right."
        + ("" if known else " Whether it shows too much or too little is not known.")
    ]
    words.append(
        "A meter that averages torque over equal angles needs no correction, however seldom it reads the speed: angle-mean"
        " torque times the turn's mean speed is the power. The correction takes for granted constant resistance, a"
        " rigid drive and a first sector from top dead centre, and takes nothing off errors of zero, slope and delay."
    )
    if corrections.assumed:
        words.append(
            f"Assumed, for study.toml does not say (common practice, no source): {', '.join(corrections.assumed)}"
            " (standard uncertainties)."
        )
    return words
