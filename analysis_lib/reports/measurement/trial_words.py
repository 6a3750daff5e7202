"""Sentences of the notebook on one trial."""

from __future__ import annotations

import math

from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.estimates import show_count, show_number


def zero(result: TrialResult) -> list[str]:
    """Say what zero was, how far it moved, and what was assumed."""
    words = []
    for key, change in result.quality.items():
        if key.startswith("zero_drift_") and key != "zero_drift_Nm":
            channel = key.removeprefix("zero_drift_").removesuffix("_Nm")
            words.append(
                f"The zero torque of channel {channel} moved by {show_number(float(change), 2, signed=True)}"
                " N·m between checks."
            )
    if "zero_drift_Nm" in result.quality:
        drift = float(result.quality["zero_drift_Nm"])
        watts = abs(drift) * result.value("cadence_rpm") * 2 * math.pi / 60
        words.append(
            f"If it were not taken off, the drift of all channels together would be {watts:.1f} W at this"
            " cadence."
        )
    return [*words, *result.assumptions]


def turns(result: TrialResult) -> list[str]:
    """Say how many turns count."""
    quality = result.quality
    return [
        (
            f"{show_count(int(quality['kept_turns']), 'whole turn')} kept and {quality['dropped_turns']} dropped;"
            f" {float(quality['samples_per_turn']):.0f} samples a turn at"
            f" {float(quality['sample_rate_hz']):.0f} Hz, longest gap"
            f" {1000 * float(quality['longest_gap_s']):.0f} ms."
        ),
        *result.cautions,
    ]


def doubts(result: TrialResult) -> list[str]:
    """List what this trial cannot show about itself."""
    said = " ".join(result.assumptions)
    zero = "as corrected by the offset declared" if "angle_offset_deg of" in said else "as recorded"
    slope = (
        "rests on the loads named above"
        if "calibration slope" in said
        else "is taken from its maker's calibration"
    )
    return [
        f"The angle's zero is taken as top dead centre {zero}; an offset would shift every angle here by as much.",
        f"The slope of the torque channel {slope}; one per cent of slope is one per cent of power.",
        (
            "A channel that freezes within a turn shows only over some degrees of the crank and where it usually"
            " changes by more than the turns differ."
        ),
        (
            "Standard errors are from turn to turn within this trial; the next trial of the same rider"
            " differs by more than that."
        ),
    ]
