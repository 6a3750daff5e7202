"""Where a recorder's angle is zero, from a recording of one slow turn with a mass on one pedal."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Literal

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle import unwrap_turns
from analysis_lib.signals.canonical_columns import read_canonical_columns
from analysis_lib.signals.crank_checks import angle_zero_from_slow_turn
from analysis_lib.signals.recorder import RecorderSettings
from analysis_lib.statistics.estimates import Estimate


def read_slow_turn(
    path: Path, settings: RecorderSettings, channel: str, mass_on: Literal["left", "right"]
) -> Estimate:
    """Estimate the recorded angle at true top dead centre, degrees, from a recording of a slow turn.

    The recording is taken as it was written: no declared offset is taken off, so that the estimate can be set
    beside it. The crank that carries the mass may be the other one than the angle belongs to.

    Raises
    ------
    Refusal
        An angle that is no encoder's (pulses do not tell where a slow crank stands), a channel that was not
        recorded, and what `angle_zero_from_slow_turn` refuses.
    """
    column = next((n for n in _columns_of(channel) if n in settings.columns), None)
    if settings.angle != "encoder" or column is None:
        raise Refusal(
            what=f"slow turn {path.name}",
            got=f"no torque of {channel}"
            if settings.angle == "encoder"
            else f"an angle from {settings.angle!r}",
            wanted="an encoder's angle, and torque or tangential force of the channel that felt the mass",
            remedy="correct the entry in slow_turns, or leave it out",
            scope="trial",
        )
    columns, *_ = read_canonical_columns(path, settings)
    turns = unwrap_turns(columns["crank_deg"].copy(), columns["time_s"])
    own = turns + (0.5 if mass_on != settings.crank_side else 0.0)
    try:
        return angle_zero_from_slow_turn(2 * math.pi * own, columns[column])
    except Refusal as refusal:
        refusal.what = f"slow turn {path.name}"
        raise


def _columns_of(channel: str) -> tuple[str, ...]:
    if channel == "total":
        return ("torque_Nm",)
    return (f"torque_{channel}_Nm", f"force_tangential_{channel}_N")
