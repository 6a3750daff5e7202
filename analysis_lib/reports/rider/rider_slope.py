"""The torque–speed slope that a rider's page works with: declared, else recorded, else assumed."""

from __future__ import annotations

from collections.abc import Mapping

from analysis_lib.mechanics.stroke_slope import StrokeSlope, declare_slope, slope_from_trials
from analysis_lib.refusals import Refusal

Trials = Mapping[str, tuple[list[float], list[float]]]


def choose_slope(declared_pct_per_rpm: float | None, round_trials: Trials) -> StrokeSlope:
    """Return the slope that study.toml declares, else what the rider's trials tell, else the assumption.

    Parameters
    ----------
    declared_pct_per_rpm : float or None
        ``torque_lost_pct_per_rpm`` of study.toml.
    round_trials : dict of intensity to (cadences in rpm, mean torques in N·m)

    Examples
    --------
    >>> choose_slope(0.8, {}).sentence()
    'Torque–speed slope: declared, 0.80 % of the torque lost per rpm; stated in study.toml.'
    """
    if declared_pct_per_rpm is not None:
        return declare_slope(declared_pct_per_rpm, "stated in study.toml")
    try:
        return slope_from_trials(round_trials).slope()
    except Refusal as refusal:
        why = f"got {refusal.got}; wanted {refusal.wanted}"
    return StrokeSlope(
        source=f"torque falls in proportion as maximal torque does (to nothing at 260 rpm, Dorel 2005), because"
        f" the recordings do not tell it ({why})"
    )
