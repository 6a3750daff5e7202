"""The quantities that recordings give, described for whoever declares outcomes."""

from __future__ import annotations

import re

from analysis_lib.signals.trial_summary import NOTES
from analysis_lib.study.outcomes.measured_quantities import measured_quantities

_LEG = re.compile(r"(?<!^)_(left|right)(?=_|$)")
_ORDER = re.compile(r"harmonic_\d")


def describe_quantities() -> str:
    """Return a table, as Markdown, of every quantity that an outcome with source "signals" may name."""
    of_both: dict[str, str] = {}
    of_one: dict[str, str] = {}
    units: dict[str, str] = {}
    for name, unit in measured_quantities().items():
        shown = _ORDER.sub("harmonic_k", name)
        base = _LEG.sub("", shown)
        units[base] = unit
        if base == shown:
            of_both[base] = shown
        else:
            of_one.setdefault(base, shown)
    rows = [
        f"| {of_both.get(base, '')} | {of_one.get(base, '')} | {unit} | {_note(base)} |"
        for base, unit in units.items()
    ]
    return "\n".join(
        [
            "| of both legs | of one leg, and the same with right | unit | what it is |",
            "|---|---|---|---|",
            *rows,
        ]
    )


def _note(base: str) -> str:
    if base.startswith("harmonic_k"):
        return "amplitude and angle of the first peak of the torque's harmonic k = 1 to 8"
    note = NOTES.get("torque_phase" if base == "torque_phase_deg" else base, "")
    return note.replace("|", "\\|")  # a bare bar would end the cell
