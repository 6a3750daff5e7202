"""Where each recorder's crank angle is zero, as its slow turns show it."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.signals.slow_turn import read_slow_turn
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import about_study

SMALLEST_OFFSET_DEG = 0.5
"""Offsets below it move no mount to another hole and carry no caution; common practice, no source."""


def read_angle_zeros(root: Path, settings: StudySettings) -> tuple[dict[str, list[Estimate]], list[Problem]]:
    """Estimate the zero of every recorder's angle from its slow turns.

    Returns
    -------
    tuple of dict and list of Problem
        Estimates by recorder; and a note for every slow turn that cannot be used, for no trial stands on it.
    """
    found: dict[str, list[Estimate]] = {}
    problems = []
    for name, recorder in settings.recorders.items():
        for place, turn in enumerate(recorder.slow_turns, start=1):
            try:
                zero = read_slow_turn(
                    root / turn.file, recorder.recorder_settings(), turn.channel, turn.mass_on
                )
                found.setdefault(name, []).append(zero)
            except Refusal as refusal:
                what = f"study.toml, recorders.{name}.slow_turns entry {place}, {refusal.what}"
                problems.append(about_study(what, refusal.got, refusal.wanted, refusal.remedy, "note"))
    return found, problems


def sentences_on_zero(zeros: list[Estimate], declared_deg: float | None) -> tuple[list[str], list[str]]:
    """Say what slow turns tell of the angle's zero, as assumptions and, where it contradicts, as cautions."""
    assumptions, cautions = [], []
    offset = declared_deg or 0.0
    for zero in zeros:
        found = zero.interval(0.95)
        said = (
            f"A slow turn puts the zero of the crank angle at {zero.value:.2f}° (95 % interval {found.low:.2f}° to"
            f" {found.high:.2f}°)"
        )
        corrected = f"an angle_offset_deg of {offset:g}° is taken off"
        if found.excludes(offset) and abs(zero.value - offset) > SMALLEST_OFFSET_DEG:
            cautions.append(
                f"{said}, but {corrected if declared_deg is not None else 'no offset is taken off'}."
            )
        else:
            assumptions.append(
                f"{said}; {corrected if declared_deg is not None else 'no offset is taken off'}."
            )
    return assumptions, cautions
