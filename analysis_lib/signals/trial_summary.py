"""The summary of a trial: every measure of its turns as one mean with its standard error."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pandas as pd

from analysis_lib.signals.turn_series import (
    LinearMean,
    TurnMean,
    linear_amplitude,
    linear_direction,
    linear_mean,
    linear_ratio,
    turn_means,
)

Columns = dict[str, np.ndarray]

UNIT_BY_ENDING = {
    "Nm": "N m",
    "Nms": "N m s",
    "W": "W",
    "deg": "deg",
    "rpm": "rpm",
    "pct": "%",
    "s": "s",
    "N": "N",
}
HEADINGS = ("quantity", "value", "unit", "se", "n_turns", "n_effective", "method", "note")
NOT_SUMMARISED = ("turn", "start_s", "duration_s")
NOTES = {
    "left_share_pct": "100 × left work / (left work + right work)",
    "right_share_pct": "100 × right work / (left work + right work)",
    "positive_impulse_proportion": "T⁺ / (T⁺ + |T⁻|), impulses over time",
    "evenness": "mean torque / peak torque",
    "dead_centre_size": "mean of the smallest power within 45° of top and of bottom dead centre / mean power",
    "speed_variation_pct": "100 × (largest − smallest) / mean crank speed, first eight harmonics",
    "torque_phase": "half the phase of the second harmonic of two-leg torque, modulo 180",
    "torque_phase_leg": "circular mean of the leg's positive torque, own crank, modulo 360",
    "effectiveness": "∫ tangential force dθ / ∫ resultant force dθ over the turn",
    "power_doubled": "twice the measured leg's power",
}


def summarise_turns(turns: pd.DataFrame) -> pd.DataFrame:
    """Summarise the measures of kept turns.

    Parameters
    ----------
    turns : DataFrame
        From `turn_measures`.

    Returns
    -------
    DataFrame
        One row a quantity: ``quantity, value, unit, se, n_turns, n_effective, method, note``. Quantities bear
        the names of their columns. Power, cadence, shares, evenness, effectiveness and impulse proportions are ratios of
        sums over turns; harmonics and the two-leg torque phase are those of the mean profile; other angles
        are circular means; all else are plain means.
    """
    values = np.ascontiguousarray(turns.to_numpy(dtype=float).T)  # at once, not column by column
    columns = dict(zip(map(str, turns.columns), values, strict=True))
    names = [name for name in columns if name not in NOT_SUMMARISED]
    means = turn_means([_linear(columns, name) for name in names])
    rows = [_row(columns, name, mean) for name, mean in zip(names, means, strict=True)]
    return pd.DataFrame({heading: [row[heading] for row in rows] for heading in HEADINGS})


def period_deg(quantity: str) -> float:
    """Return after how many degrees an angle among the quantities is the same again.

    >>> period_deg("torque_phase_deg"), period_deg("harmonic_3_left_deg"), period_deg("peak_torque_deg")
    (180.0, 120.0, 360.0)
    """
    harmonic = _parts(r"harmonic_(\d)(_left|_right)?_deg", quantity)
    return 360 / int(harmonic[1]) if harmonic else 180.0 if quantity == "torque_phase_deg" else 360.0


def second_harmonics(turns: pd.DataFrame) -> np.ndarray:
    """Return the second harmonic of the two-leg torque of every turn as complex numbers A·e^{2iP}."""
    return _harmonics({name: turns[name].to_numpy() for name in ("harmonic_2_Nm", "harmonic_2_deg")}, 2, "")


def _row(columns: Columns, name: str, mean: TurnMean) -> dict[str, object]:
    return {
        "quantity": name,
        "value": mean.value,
        "unit": UNIT_BY_ENDING.get(name.rsplit("_", 1)[-1], ""),
        "se": mean.se,
        "n_turns": mean.n_turns,
        "n_effective": mean.n_effective,
        "method": mean.method,
        "note": _note(columns, name),
    }


def _linear(column: Columns, name: str) -> LinearMean:
    if name == "cadence_rpm":
        return linear_ratio(np.full_like(column["duration_s"], 60.0), column["duration_s"])
    if name.startswith("power"):
        return linear_ratio(column[name] * column["duration_s"], column["duration_s"])
    if name.endswith("_share_pct"):
        leg = name.removesuffix("_share_pct")
        return linear_ratio(100 * column[f"mean_torque_{leg}_Nm"], column["mean_torque_Nm"])
    if part := _parts(r"evenness(_left|_right)?", name):
        leg = part[1] or ""
        return linear_ratio(column[f"mean_torque{leg}_Nm"], column[f"peak_torque{leg}_Nm"])
    if part := _parts(r"effectiveness_(left|right)", name):
        resultant = column[f"mean_resultant_{part[1]}_N"]
        return linear_ratio(column[name] * resultant, resultant)
    if part := _parts(r"positive_impulse_proportion(_left|_right)?", name):
        positive = column[f"positive_impulse{part[1] or ''}_Nms"]
        return linear_ratio(positive, positive - column[f"negative_impulse{part[1] or ''}_Nms"])
    if part := _parts(r"harmonic_(\d)(_left|_right)?_(Nm|deg)", name):
        harmonics = _harmonics(column, int(part[1]), part[2] or "")
        return linear_amplitude(harmonics) if part[3] == "Nm" else linear_direction(harmonics, int(part[1]))
    if name == "torque_phase_deg":
        return linear_direction(_harmonics(column, 2, ""), 2)
    if name.endswith("_deg"):
        return linear_direction(np.exp(1j * np.radians(column[name])), 1)
    return linear_mean(column[name])


@cache
def _parts(pattern: str, name: str) -> re.Match[str] | None:
    """Take a quantity's name apart; every trial has the same names."""
    return re.fullmatch(pattern, name)


def _harmonics(column: Columns, order: int, leg: str) -> np.ndarray:
    angle = np.radians(column[f"harmonic_{order}{leg}_deg"])
    return column[f"harmonic_{order}{leg}_Nm"] * np.exp(1j * order * angle)


def _note(columns: Columns, name: str) -> str:
    if name == "power_W" and "mean_torque_Nm" not in columns:
        return NOTES["power_doubled"]
    if name.startswith("torque_phase"):
        return NOTES["torque_phase" if name == "torque_phase_deg" else "torque_phase_leg"]
    return NOTES.get(re.sub(r"(?<!^)_(left|right)$", "", name), "")
