"""What the measurement can and cannot carry: trial budgets on the rider's page, the measuring floor on the study's."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibit import TableExhibit
from analysis_lib.reports.rider_analysis import LABELS, RiderAnalysis
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.trial_budget import trial_budgets, undeclared

COMMON = ("calibration slope and temperature", "zero of the crank angle", "delay of torque")
"""Inputs that one recorder has in common on both rings: they do not tell the rings apart."""


def budget_rows(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return one row a trial, quantity and input: ``trial ... quantity, total, unit, input, contribution``."""
    frames = []
    for row in analysis.used.to_dict("records"):
        recorder = analysis.study.settings.recorders[row["recorder"]]
        budgets = trial_budgets(
            analysis.results[row["trial"]], recorder, usual_drift_Nm(analysis, row["recorder"])
        )
        for quantity, budget in budgets.items():
            parts = budget.to_frame()[["input", "contribution"]]
            labels = pd.DataFrame([{name: row[name] for name in LABELS}])
            known: dict[str, Any] = {
                "quantity": quantity,
                "total": budget.standard_uncertainty,
                "unit": budget.unit,
            }
            frames.append(labels.merge(parts, how="cross").assign(**known))
    return pd.concat(frames, ignore_index=True)[
        [*LABELS, "quantity", "total", "unit", "input", "contribution"]
    ]


def usual_drift_Nm(analysis: RiderAnalysis, recorder: str) -> float:
    """Root mean square of the zero's change between successive checks of a recorder, over all channels; 0 if unknown."""
    checks = analysis.study.zero_checks
    own = checks[checks["recorder"] == recorder].sort_values("checked_at")
    columns = [name for name in own if str(name).startswith("zero_")]
    changes = own[columns].diff().to_numpy(dtype=float)
    changes = changes[np.isfinite(changes)]
    return float(np.sqrt(np.mean(changes**2))) if changes.size else 0.0


def budget_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give each input's share of the uncertainty of power, torque and torque phase, over the rider's trials."""
    rows = budget_rows(analysis)
    root_mean_square = rows.groupby(["quantity", "unit", "input"], sort=False)["contribution"].agg(
        lambda part: math.sqrt(float(np.mean(np.square(part))))
    )
    frame = root_mean_square.reset_index()
    totals = (
        rows.drop_duplicates(["trial", "quantity"])
        .groupby("quantity")["total"]
        .agg(lambda part: math.sqrt(float(np.mean(np.square(part)))))
    )
    frame["of_total"] = frame["contribution"] / frame["quantity"].map(totals)
    frame["quantity"] = frame["quantity"].str.replace("_", " ")
    return TableExhibit(
        "uncertainty",
        frame,
        f"Uncertainty budget of one trial, root mean square over {rows['trial'].nunique()} trials: standard"
        " uncertainty that each input adds, and its share of the total (squares add up to one). Independent"
        " inputs combined by the law of propagation (JCGM 100:2008, equation 10).",
        {"contribution": "standard uncertainty", "of_total": "share of the total"},
        {"contribution": 3, "of_total": 2},
    )


def budget_sentences(analysis: RiderAnalysis) -> list[str]:
    """Say how uncertain a trial's power is, what was not declared, and what of it the comparison of rings escapes."""
    rows = budget_rows(analysis)
    power = rows[rows["quantity"] == "power"].drop_duplicates("trial")["total"]
    words = [
        "A single trial's power is known to a standard uncertainty of"
        f" {show_number(float(power.median()), 2)} W (median of {len(power)} trials)."
    ]
    recorders = dict.fromkeys(analysis.used["recorder"])
    for name in recorders:
        missing = undeclared(analysis.study.settings.recorders[name])
        if missing:
            words.append(
                f"Recorder {name} declares no uncertainty of {', '.join(missing)} in study.toml: these count"
                " as exact here, so the budget is a lower bound."
            )
    words.append(
        "Slope and angle errors of one recorder are the same on both rings and hardly touch their difference;"
        " zero torque and turn-to-turn variation do. Common practice, no source: zero after installing or"
        " refitting a recorder, again after the first thirty hours, and before any trial that counts."
    )
    return words


def measuring_floor(budgets: pd.DataFrame, contrasts: pd.DataFrame) -> pd.DataFrame:
    """Return the part of an effect's standard error that the measurement alone accounts for, by intensity.

    A rider's contrast is the mean of the oval trials minus that of the round ones, so with k trials on a ring
    each adds u²/k²; over n riders the floor is √(Σ over riders) / n. Inputs common to both rings are left
    out.

    Parameters
    ----------
    budgets : DataFrame
        As `budget_rows` returns them, of all riders, for one quantity.
    contrasts : DataFrame
        ``rider, intensity`` of the riders in the estimate.

    Returns
    -------
    DataFrame
        ``intensity, floor, riders``.

    Examples
    --------
    Two riders, one trial of 1 W a ring each: a contrast of √2 W each, and √(2 + 2)/2 = 1 W for their mean.
    """
    own = budgets[~budgets["input"].isin(COMMON)]
    trial = own.groupby(["intensity", "rider", "ring", "trial"])["contribution"].agg(
        lambda part: float(np.sum(part**2))
    )
    ring = trial.groupby(["intensity", "rider", "ring"]).agg(["sum", "size"])
    variance = (ring["sum"] / ring["size"] ** 2).groupby(["intensity", "rider"]).sum()
    rows = []
    for intensity, here in contrasts[contrasts["intensity"] != "overall"].groupby(
        "intensity", sort=False, observed=True
    ):
        parts = [
            variance[(str(intensity), rider)]
            for rider in here["rider"]
            if (str(intensity), rider) in variance
        ]
        if parts:
            rows.append(
                {
                    "intensity": str(intensity),
                    "floor": math.sqrt(sum(parts)) / len(parts),
                    "riders": len(parts),
                }
            )
    return pd.DataFrame(rows, columns=["intensity", "floor", "riders"])
