"""The rules that exclude a whole trial: declared in study.toml, applied alike to all, counted in the reports."""

from __future__ import annotations

from collections.abc import Mapping

from analysis_lib.study.declared.protocol import Rules

RULES = ("exclude_below_turns", "exclude_above_dropped_pct", "exclude_above_zero_drift_Nm")
"""The rules by their names in study.toml, in the order in which they are tried."""


def broken_rule(quality: Mapping[str, float | int | str], rules: Rules) -> str:
    """Name the first declared rule that a trial breaks, with what was found; empty when it breaks none.

    Parameters
    ----------
    quality : mapping
        The trial's data quality, `TrialResult.quality`.
    rules : Rules

    Examples
    --------
    >>> quality = {"kept_turns": 12, "dropped_turns": 0}
    >>> broken_rule(quality, Rules(exclude_below_turns=20))
    '12 kept turns, fewer than exclude_below_turns = 20'
    """
    kept = int(quality["kept_turns"])
    dropped = int(quality["dropped_turns"])
    share = 100 * dropped / (kept + dropped) if kept + dropped else 100.0
    drift = max(
        (abs(float(quality[name])) for name in quality if name.startswith("zero_drift_")), default=0.0
    )
    if rules.exclude_below_turns is not None and kept < rules.exclude_below_turns:
        return f"{kept} kept turns, fewer than exclude_below_turns = {rules.exclude_below_turns}"
    if rules.exclude_above_dropped_pct is not None and share > rules.exclude_above_dropped_pct:
        return (
            f"{share:.0f} % of the whole turns dropped, more than exclude_above_dropped_pct = "
            f"{rules.exclude_above_dropped_pct:g}"
        )
    if rules.exclude_above_zero_drift_Nm is not None and drift > rules.exclude_above_zero_drift_Nm:
        return (
            f"zero torque moved by {drift:.2f} N·m, more than exclude_above_zero_drift_Nm = "
            f"{rules.exclude_above_zero_drift_Nm:g}"
        )
    return ""
