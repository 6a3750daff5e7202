"""A recording from a log of Cycling Power notifications, on the log's own clock."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle_source import say_offset
from analysis_lib.signals.canonical_columns import trial_samples
from analysis_lib.signals.counters import CRANK_TIME_ROLL_S, run_on
from analysis_lib.signals.notification_log import NotificationLog, read_notification_log
from analysis_lib.signals.recorder import RecorderSettings
from analysis_lib.signals.recording import Recording


def read_logged_recording(
    path: Path,
    settings: RecorderSettings,
    start_s: float | None = None,
    end_s: float | None = None,
    crank_length_m: float | None = None,
) -> Recording:
    """Read a log and reconstruct its recording, with the warning that goes with it among the assumptions.

    The crank's own clock rolls over and starts anywhere; it is shifted by the median of what messages were received
    later than they tell, so that times, and the window, are those of the log.

    Raises
    ------
    Refusal
        What `NotificationLog.recording` refuses, and a window without samples.
    """
    messages = settings.messages
    if messages is None:
        raise Refusal(path.name, "no columns of messages", "messages", "declare them", "trial")
    log = read_notification_log(path, messages.time, messages.characteristic, messages.message)
    recording = log.recording(messages.channel, messages.spacing or "even angle", crank_length_m)
    time_s = recording.time_s + _clock_shift(log)
    trial, note = trial_samples(time_s, start_s, end_s, path.name)
    said = say_offset(settings.angle_offset_deg) if settings.angle_offset_deg else ""
    return replace(
        recording,
        time_s=time_s,
        crank_rad=recording.crank_rad - math.radians(settings.angle_offset_deg),
        assumptions=(*recording.assumptions, *filter(None, (note, said))),
    ).part(trial)


def _clock_shift(log: NotificationLog) -> float:
    told = run_on(np.array([vector.crank_time_s for vector in log.vectors], dtype=float), CRANK_TIME_ROLL_S)
    return float(np.median(log.vector_times_s - told))
