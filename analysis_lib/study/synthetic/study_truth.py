"""The truth of a synthetic study: what was put in and what followed by chance, as it is written and read."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.study.synthetic.virtual_visits import GAS_TRUTH
from analysis_lib.study.tables.folder_writer import write_text

TRUTH_FILE = "truth.json"
DIGITS = 10
"""Significant digits of its numbers, as in a report's tables."""


@dataclass(frozen=True)
class StudyTruth:
    """What was put into a synthetic study.

    Attributes
    ----------
    riders : DataFrame
        One row for each rider and intensity: rider, sequence, intensity, power_W (round ring, before all
        variation), ring_effect (relative), ring_effect_W, torque_phase_deg, and in a study with gas exchange
        gross_efficiency_pct (round ring) and gross_efficiency_effect (points).
    trials : DataFrame
        One row for each trial ridden: trial, torque_factor, cadence_rpm, torque_phase_deg, power_W (true
        mean power of the part to analyse), fault.
    details : list of dict
        All of it as written in truth.json, one entry a rider, with leg profiles and zero torque.
    """

    riders: pd.DataFrame
    trials: pd.DataFrame
    details: list[dict[str, Any]]

    def ring_effect_W(self, intensity: str = "overall") -> float:
        """Mean over riders of the ring's effect in watts, at an intensity or over all of them."""
        rows = self.riders if intensity == "overall" else self.riders[self.riders["intensity"] == intensity]
        return float(rows["ring_effect_W"].mean())


def read_truth(directory: Path | str) -> StudyTruth:
    """Read the truth of a synthetic study that was written before."""
    details = json.loads((Path(directory) / TRUTH_FILE).read_text(encoding="utf-8"))
    riders = [
        _truth_row(rider, name, part) for rider in details for name, part in rider["intensities"].items()
    ]
    trials = [trial for rider in details for trial in rider["trials"]]
    return StudyTruth(pd.DataFrame(riders), pd.DataFrame(trials), details)


def write_json(path: Path, content: Any) -> None:
    """Write numbers, words, lists and dicts as JSON, numbers with ten significant digits."""
    write_text(path, json.dumps(_in_digits(content), indent=1) + "\n")


def _in_digits(content: Any) -> Any:
    """Round all numbers to the written digits: the last of a float's seventeen differ between processors."""
    if isinstance(content, float):
        return float(f"{content:.{DIGITS}g}")
    if isinstance(content, dict):
        return {name: _in_digits(part) for name, part in content.items()}
    return [_in_digits(part) for part in content] if isinstance(content, list | tuple) else content


def _truth_row(rider: dict[str, Any], intensity: str, part: dict[str, Any]) -> dict[str, Any]:
    return {
        "rider": rider["rider"],
        "sequence": rider["sequence"],
        "intensity": intensity,
        "power_W": part["power_W"],
        "ring_effect": part["ring_effect"],
        "ring_effect_W": part["power_W"] * part["ring_effect"],
        "torque_phase_deg": part["torque_phase_deg"],
        **{name: part[name] for name in GAS_TRUTH if name in part},
    }
