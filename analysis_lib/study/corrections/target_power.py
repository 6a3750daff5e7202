"""The power that was asked for, against the power that was recorded."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.signals.plausibility import WRONG_UNIT

FAR, TOO_FAR = 1.5, 4.0
"""Ratios of recorded to asked power; riders hold a set power far better, and a wrong unit is off by 8.85 or 1000."""


def check_target(power_W: float, target_W: float | None, name: str) -> list[str]:
    """Refuse a power that misses the target by so much that its unit must be wrong; caution where it is merely far off.

    Parameters
    ----------
    power_W : float
        Recorded.
    target_W : float or None
        Asked for; None where none was.
    name : str
        Of the trial.

    Returns
    -------
    list of str

    Raises
    ------
    Refusal
        With scope trial.

    Examples
    --------
    >>> check_target(210.0, 200.0, "T1"), check_target(210.0, None, "T1")
    ([], [])
    """
    if target_W is None or 1 / FAR <= power_W / target_W <= FAR:
        return []
    found = f"{power_W:.4g} W where {target_W:g} W were asked for"
    if not 1 / TOO_FAR <= power_W / target_W <= TOO_FAR:
        raise Refusal(
            f"trial {name}, power",
            f"{found}, {power_W / target_W:.3g} times as much",
            f"between a quarter of target_power_W and {TOO_FAR:g} times it",
            WRONG_UNIT,
            "trial",
            trial=name,
        )
    return [
        f"The power was {found}: the trial was not ridden as planned, one leg counts for two, or a scale is wrong."
    ]
