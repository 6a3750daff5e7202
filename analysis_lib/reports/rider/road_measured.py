"""The road against the ergometer as one rider rode both: what was measured beside what mechanics would shift."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.road_shift import OUTDOORS, RoadShift
from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.circular import axial_mean


def measured_shift(analysis: RiderAnalysis, predicted: RoadShift) -> pd.DataFrame:
    """Return what changed from indoors to outdoors at each ring and intensity that was ridden in both.

    Returns
    -------
    DataFrame
        ``ring, intensity, trials_indoors, trials_outdoors, cadence_change_rpm, power_change_W, swing_indoors_pct,
        swing_outdoors_pct, torque_rms_Nm, phase_change_deg, predicted_phase_change_deg``, outdoors − indoors; no rows
        where one place only was ridden. The prediction is that of the round ring.
    """
    if "environment" not in analysis.used:
        return pd.DataFrame()
    known = analysis.used[analysis.used["environment"].notna()]
    known = known.assign(outdoors=known["environment"].str.lower().isin(OUTDOORS))
    expected = predicted.to_frame().set_index("intensity")["phase_shift_deg"]
    rows = []
    for (ring, intensity), here in known.groupby(["ring", "intensity"], sort=False):
        places = {place: list(trials["trial"]) for place, trials in here.groupby("outdoors")}
        if len(places) == 2:
            change = _change(analysis, places[False], places[True])
            told = float(expected.get(str(intensity), np.nan)) if ring == "round" else np.nan
            rows.append(
                {"ring": ring, "intensity": intensity} | change | {"predicted_phase_change_deg": told}
            )
    return pd.DataFrame(rows)


def _change(analysis: RiderAnalysis, indoors: list[str], outdoors: list[str]) -> dict[str, float]:
    before, after = ([analysis.results[str(trial)] for trial in trials] for trials in (indoors, outdoors))
    shape = _mean_turn(after) - _mean_turn(before)
    return {
        "trials_indoors": len(indoors),
        "trials_outdoors": len(outdoors),
        "cadence_change_rpm": _mean(after, "cadence_rpm") - _mean(before, "cadence_rpm"),
        "power_change_W": _mean(after, "power_W") - _mean(before, "power_W"),
        "swing_indoors_pct": _swing_pct(before),
        "swing_outdoors_pct": _swing_pct(after),
        "torque_rms_Nm": float(np.sqrt(np.mean(shape**2))),
        "phase_change_deg": float(axial_change_deg(_phase_deg(after) - _phase_deg(before))),
    }


def _mean_turn(results: list[TrialResult]) -> np.ndarray:
    return np.mean([result.torque_at_angles() for result in results], axis=0)


def _mean(results: list[TrialResult], quantity: str) -> float:
    return float(np.mean([result.value(quantity) for result in results]))


def _swing_pct(results: list[TrialResult]) -> float:
    speeds = [result.speed_at_angles() for result in results]
    return 100 * float(np.mean([np.ptp(speed) / speed.mean() for speed in speeds]))


def _phase_deg(results: list[TrialResult]) -> float:
    return axial_mean([result.value("torque_phase_deg") for result in results]).angle_deg


def measured_tables(analysis: RiderAnalysis, predicted: RoadShift) -> list[TableExhibit]:
    """Give the measured shift; nothing where the rider rode in one place only."""
    frame = measured_shift(analysis, predicted)
    if frame.empty:
        return []
    headings = {
        "trials_indoors": "trials indoors",
        "trials_outdoors": "outdoors",
        "cadence_change_rpm": "cadence (rpm)",
        "power_change_W": "power (W)",
        "swing_indoors_pct": "speed swing indoors (%)",
        "swing_outdoors_pct": "outdoors (%)",
        "torque_rms_Nm": "torque changes by (N·m)",
        "phase_change_deg": "torque phase (deg)",
        "predicted_phase_change_deg": "by mechanics alone (deg)",
    }
    return [
        TableExhibit(
            "road_measured",
            frame,
            "Measured, outdoors − indoors, where both were ridden on a ring at an intensity: a difference of places is a"
            " difference of rides too. Beside it the shift of torque phase by mechanics alone, round ring.",
            headings,
            dict.fromkeys(list(headings)[2:], 2),
        )
    ]
