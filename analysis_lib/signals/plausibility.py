"""Whether a trial's power and torque can have come from a rider."""

from __future__ import annotations

import math

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.signals.revolutions import Turns

HIGHEST_POWER_W = 2500.0
"""Above the highest published power within a sprint, 2137 W at one instant (Martin et al. 1997, MSSE 29:1505)."""

HIGHEST_MEAN_TORQUE_NM = 300.0
"""Above twice the torque at greatest power, 2 · 118.5 N·m, which a straight torque-velocity line reaches at a standstill
(Dorel et al. 2005, Int J Sports Med 26:739)."""


def check_plausible(turns: Turns, name: str) -> None:
    """Refuse a trial whose power or torque no rider can give: its unit or scale is declared wrongly.

    Parameters
    ----------
    turns : Turns
        The kept turns.
    name : str
        Of the recording.

    Raises
    ------
    Refusal
        With scope trial. Nothing is corrected: a unit is never guessed.
    """
    torque = turns.two_leg_torque_Nm
    power = float(np.median(2 * math.pi * torque / turns.duration_s))
    mean = float(np.median(torque))
    if abs(power) > HIGHEST_POWER_W or abs(mean) > HIGHEST_MEAN_TORQUE_NM:
        raise Refusal(
            f"{name or 'trial'}, torque",
            f"a mean of {mean:.4g} N·m, so {power:.4g} W",
            f"at most {HIGHEST_MEAN_TORQUE_NM:.0f} N·m and {HIGHEST_POWER_W:.0f} W, more than any rider gives",
            "look at unit and scale of the torque columns in study.toml: one of them is probably wrong",
            scope="trial",
        )
