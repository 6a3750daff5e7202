"""The quality of a trial: what its recording can carry, and what weakens it."""

from __future__ import annotations

import numpy as np

from analysis_lib.signals import turn_rules
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.zero_torque import ZeroLine

MANY_DROPPED = 0.2  # of the whole turns; common practice, no source


def cautions_of(turns: Turns) -> list[str]:
    """Say where few turns were kept, or many dropped."""
    kept, dropped = int(turns.kept.sum()), sum(turns.dropped.values())
    cautions = []
    if kept < turns.rules.min_turns:
        cautions.append(
            f"Only {kept} whole turns were kept, fewer than min_turns = {turns.rules.min_turns}, which a stable mean needs "
            "(Sports Biomechanics 2025, 24:2519)."
        )
    if dropped > MANY_DROPPED * (kept + dropped):
        why = turn_rules.counted(turns.dropped)
        cautions.append(f"{dropped} of {kept + dropped} whole turns were dropped ({why}).")
    return cautions


def quality_row(recording: Recording, turns: Turns, line: ZeroLine | None) -> dict[str, float | int | str]:
    """Return one row of the data-quality table; what is not known has no key.

    Dropped are whole turns that broke a rule; the parts of turns at either end are incomplete and neither kept nor dropped.
    Zero drift is the change of a channel's zero torque from the checks before to the checks after, and of all
    channels together where each has both.
    """
    intervals = np.diff(recording.time_s)
    cadence = 60 / turns.duration_s[turns.kept]
    rate = 1 / float(np.median(intervals))
    drift = {
        channel: line.drift_Nm[channel] for channel in recording.torque if line and channel in line.drift_Nm
    }
    quality: dict[str, float | int | str] = {
        "layout": recording.layout,
        "samples": int(recording.time_s.size),
        "missing_samples": recording.missing_samples,
        "duration_s": recording.duration_s,
        "sample_rate_hz": rate,
        "samples_per_turn": rate * float(turns.duration_s[turns.kept].mean()),
        "longest_gap_s": float(intervals.max()),
        "kept_turns": int(turns.kept.sum()),
        "dropped_turns": sum(turns.dropped.values()),
        "incomplete_turns": turns.reasons[turn_rules.INCOMPLETE],
        "cadence_mean_rpm": float(cadence.mean()),
        "cadence_sd_rpm": float(cadence.std(ddof=1)) if cadence.size > 1 else float("nan"),
    }
    whole = {reason: count for reason, count in turns.reasons.items() if reason != turn_rules.INCOMPLETE}
    quality |= {f"dropped_{reason.replace(' ', '_')}": count for reason, count in whole.items()}
    quality |= {f"saturated_{channel}": int(at.size) for channel, at in recording.saturated.items()}
    quality |= {f"zero_drift_{channel}_Nm": change for channel, change in drift.items()}
    if drift and len(drift) == len(recording.torque):
        quality["zero_drift_Nm"] = sum(drift.values())
    return quality
