"""The fit of the predicted crank speed to the measured one, trial by trial."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.speed_agreement import compare_speeds
from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.trials.other_ring import OTHER_RING, of_another_ring, predict_speed, swing_of
from analysis_lib.reports.trials.ring_shapes import shape_verdict
from analysis_lib.reports.trials.speed_verdict import speed_verdict


@once
def compare_trial_speeds(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return one row a trial: measured swing, how the predicted crank speed fits, and a verdict in words.

    Columns ``trial, ring, intensity, swing_pct, rms_pct, explained_pct, swing_ratio, phase_deg, verdict``. A trial that
    carries the caution of another ring, or of another shape, is said to turn as on that.
    """
    exchanged = of_another_ring(analysis.used)
    rows = zip(analysis.used.itertuples(), exchanged, strict=True)
    return pd.DataFrame([_trial_speed(analysis, row, is_other) for row, is_other in rows])


def _trial_speed(analysis: RiderAnalysis, row, is_other: bool) -> dict[str, object]:
    labels = {"trial": row.trial, "ring": row.ring, "intensity": row.intensity}
    result = analysis.results[row.trial]
    measured = result.speed_at_angles()
    swing = swing_of(measured)
    labels["swing_pct"] = 100 * swing
    try:
        mount = float(row.mount_deg) if row.ring == "oval" else None
        predicted = predict_speed(analysis.study.settings, result, row.ring_name, mount)
        fit = compare_speeds(predicted, measured)
    except Refusal as refusal:
        return labels | {"verdict": f"not compared: {refusal.what}, {refusal.got}"}
    return labels | {
        "rms_pct": 100 * fit.rms_difference,
        "explained_pct": 100 * fit.share_explained,
        "swing_ratio": fit.swing_ratio,
        "phase_deg": np.nan if fit.phase_difference_deg is None else fit.phase_difference_deg,
        "verdict": OTHER_RING if is_other else shape_verdict(row) or speed_verdict(fit, swing),
    }
