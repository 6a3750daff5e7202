"""The zero torque: what each channel reads on an unloaded crank, before and after a trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ZeroCheck:
    """Unloaded torque of each channel, measured once.

    Attributes
    ----------
    at_s : float or None
        When, in the recording's own time (negative before its zero); None where only before or after is
        known: then it counts as made at the trial's start or end.
    temperature_C : float or None
        Temperature of the recorder, where it was read.
    torque : dict of str to float
        N m by channel: "left", "right", "total".
    """

    at_s: float | None
    temperature_C: float | None
    torque: dict[str, float]


@dataclass(frozen=True)
class ZeroLine:
    """Zero torque against time, a straight line a channel.

    Attributes
    ----------
    lines : dict of str to (float, float)
        By channel: zero torque at time 0 of the recording (N m) and its slope (N m/s).
    drift_Nm : dict of str to float
        Change from the check before to the check after; only the channels that have both.
    assumption : str
        What had to be assumed, in words; empty when every channel was checked before and after.
    """

    lines: dict[str, tuple[float, float]]
    drift_Nm: dict[str, float]
    assumption: str

    def at(self, time_s: ArrayLike) -> dict[str, FloatArray]:
        """Return the zero torque of each channel at the given times, N m."""
        time = np.asarray(time_s, dtype=float)
        return {channel: zero + slope * time for channel, (zero, slope) in self.lines.items()}


def zero_line(
    checks_before: Sequence[ZeroCheck],
    checks_after: Sequence[ZeroCheck],
    duration_s: float,
    start_s: float = 0.0,
) -> ZeroLine:
    """Draw each channel's zero torque from the checks around a trial.

    The mean of the checks before and the mean of the checks after are joined by a straight line in time. With
    checks on one side only, the zero torque is taken as constant; with none, as zero; both are said.

    Parameters
    ----------
    checks_before, checks_after : sequence of ZeroCheck
        Checks made before and after the trial.
    duration_s, start_s : float
        Length of the trial and its first sample's time, for checks without a time of their own.

    Returns
    -------
    ZeroLine

    Raises
    ------
    Refusal
        A check that is no number, or checks after the trial that are not later than those before it.

    Examples
    --------
    1.0 N m before and 1.6 N m after ten minutes: 1.3 N m half-way.

    >>> line = zero_line([ZeroCheck(None, 20, {"total": 1.0})], [ZeroCheck(None, 24, {"total": 1.6})], 600)
    >>> print(line.at(300)["total"].round(9), line.assumption == "")
    1.3 True
    """
    before, after = _by_channel(checks_before, start_s), _by_channel(checks_after, start_s + duration_s)
    lines, drift, one_sided = {}, {}, {}
    for channel in sorted(before.keys() | after.keys()):
        if channel in before and channel in after:
            (start, first), (end, last) = before[channel], after[channel]
            _check_order(start, end, channel)
            slope = (last - first) / (end - start)
            lines[channel], drift[channel] = (first - slope * start, slope), last - first
        else:
            lines[channel] = (before.get(channel) or after[channel])[1], 0.0
            one_sided[channel] = "before" if channel in before else "after"
    return ZeroLine(lines, drift, _assumption(lines, one_sided))


def remove_zero_torque(recording: Recording, line: ZeroLine) -> Recording:
    """Return the recording with its zero torque taken off.

    The recording's assumptions gain those of the line, and a sentence for a channel that was never checked.
    """
    unchecked = [channel for channel in recording.torque if channel not in line.lines]
    torque = {
        channel: values - _line_at(line.lines[channel], recording.time_s) if channel in line.lines else values
        for channel, values in recording.torque.items()
    }
    said = line.assumption if line.lines or not unchecked else ""
    notes = (said, _never_checked(unchecked))
    return replace(recording, torque=torque, assumptions=(*recording.assumptions, *filter(None, notes)))


def _line_at(line: tuple[float, float], time_s: FloatArray) -> FloatArray | float:
    zero, slope = line
    return zero + slope * time_s if slope else zero


def _by_channel(checks: Sequence[ZeroCheck], usual_time_s: float) -> dict[str, tuple[float, float]]:
    """Mean time and mean torque of the checks, by channel."""
    found: dict[str, list[tuple[float, float]]] = {}
    for check in checks:
        at = usual_time_s if check.at_s is None else check.at_s
        for channel, torque in check.torque.items():
            if not (np.isfinite(torque) and np.isfinite(at)):
                raise Refusal(
                    what=f"zero check of channel {channel!r}",
                    got=f"{torque} N·m at {at} s",
                    wanted="a number",
                    remedy="leave the channel out of the check if it was not read",
                    scope="trial",
                )
            found.setdefault(channel, []).append((at, torque))
    return {channel: tuple(np.mean(pairs, axis=0).tolist()) for channel, pairs in found.items()}


def _check_order(start: float, end: float, channel: str) -> None:
    if end > start:
        return
    raise Refusal(
        what=f"zero checks of channel {channel!r}",
        got=f"checks before the trial at {start:g} s and after it at {end:g} s",
        wanted="a later time after the trial",
        remedy="correct when the checks were made",
        scope="trial",
    )


def _assumption(lines: dict[str, tuple[float, float]], one_sided: dict[str, str]) -> str:
    if not lines:
        return _never_checked(["every channel"])
    sentences = []
    for side in ("before", "after"):
        channels = [channel for channel, checked in one_sided.items() if checked == side]
        if channels:
            sentences.append(
                f"Zero torque of {_listed(channels)} was checked only {side} the trial and taken as constant."
            )
    return " ".join(sentences)


def _never_checked(channels: list[str]) -> str:
    return f"Zero torque of {_listed(channels)} was never checked and taken as 0 N·m." if channels else ""


def _listed(channels: list[str]) -> str:
    return " and ".join(channels)
