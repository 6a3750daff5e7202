"""The uncertainty budgets of trials as one table; `measuring_floor` says what follows for an effect."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis_lib.signals.trial import TrialResult
from analysis_lib.signals.uncertainty import UncertaintyBudget
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.corrections.trial_budget import trial_budgets

BUDGET_LABELS = ["trial", "rider", "period", "ring", "intensity"]
BUDGET_COLUMNS = [*BUDGET_LABELS, "quantity", "total", "unit", "input", "contribution"]
BUDGETED = {"power_W": "power", "mean_torque_Nm": "torque", "torque_phase_deg": "torque_phase"}
"""Outcomes for which a trial has a budget, and the budget's name."""


def budget_rows(study: Study, used: pd.DataFrame, results: Mapping[str, TrialResult]) -> pd.DataFrame:
    """Return one row a trial, quantity and input: ``trial ... quantity, total, unit, input, contribution``."""
    drifts = _usual_drifts(study, used)
    rows: list[tuple[Any, ...]] = []
    for row in used.to_dict("records"):
        recorder = study.settings.recorders[row["recorder"]]
        labels = [row[name] for name in BUDGET_LABELS]
        drift = drifts[row["recorder"], row["rider"]]
        for quantity, budget in trial_budgets(results[row["trial"]], recorder, drift).items():
            about = (*labels, quantity, budget.standard_uncertainty, budget.unit)
            parts = zip(budget.inputs, np.abs(budget.contributions).tolist(), strict=True)
            rows += [(*about, part.name, contribution) for part, contribution in parts]
    return pd.DataFrame(rows, columns=BUDGET_COLUMNS)


def _usual_drifts(study: Study, used: pd.DataFrame) -> dict[tuple[str, str], float]:
    """By recorder and rider; see `usual_drift_Nm`."""
    lengths_m = study.riders.set_index("rider")["crank_length_mm"] / 1000
    pairs = used[["recorder", "rider"]].drop_duplicates().itertuples(index=False, name=None)
    return {
        (name, rider): usual_drift_Nm(study.zero_checks, str(name), float(lengths_m[rider]))
        for name, rider in pairs
    }


def drawn_intervals(
    study: Study, used: pd.DataFrame, results: Mapping[str, TrialResult], draws: int = 20_000
) -> pd.DataFrame:
    """Hold the law of propagation against drawing, for each quantity's least certain trial.

    Returns
    -------
    DataFrame
        ``quantity, trial, unit, law_low, law_high, drawn_low, drawn_high``: 95 % intervals by the law (JCGM 100) and by
        Monte Carlo over the same inputs (JCGM 101).
    """
    drifts = _usual_drifts(study, used)
    worst: dict[str, tuple[str, UncertaintyBudget]] = {}
    for row in used.to_dict("records"):
        recorder = study.settings.recorders[row["recorder"]]
        drift = drifts[row["recorder"], row["rider"]]
        for quantity, budget in trial_budgets(results[row["trial"]], recorder, drift).items():
            if quantity not in worst or budget.standard_uncertainty > worst[quantity][1].standard_uncertainty:
                worst[quantity] = (str(row["trial"]), budget)
    rows = []
    for quantity, (trial, budget) in worst.items():
        law = budget.interval(0.95)
        drawn = np.quantile(budget.monte_carlo(draws, study.settings.study.seed), (0.025, 0.975))
        rows.append((quantity, trial, budget.unit, law.low, law.high, *drawn.tolist()))
    columns = ["quantity", "trial", "unit", "law_low", "law_high", "drawn_low", "drawn_high"]
    return pd.DataFrame(rows, columns=columns)


def usual_drift_Nm(checks: pd.DataFrame, recorder: str, crank_length_m: float = math.nan) -> float:
    """Root mean square of the zero's change between successive checks of a recorder, over all channels; 0 if unknown.

    A tangential force counts by the torque that it makes on the rider's crank; forces in the frame of the bike make no
    mean torque, see `zero_force.mean_torque_of_zero`.
    """
    own = checks[checks["recorder"] == recorder].sort_values("checked_at")
    columns = [name for name in own if str(name).startswith("zero_") and str(name).endswith("_Nm")]
    across = [name for name in own if str(name).startswith("zero_force_tangential_")]
    changes = np.hstack([own[columns].diff(), own[across].diff() * crank_length_m]).astype(float)
    changes = changes[np.isfinite(changes)]
    return float(np.sqrt(np.mean(changes**2))) if changes.size else 0.0
