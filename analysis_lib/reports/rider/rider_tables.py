"""The tables that a rider's page leaves behind for the study's page."""

from __future__ import annotations

import csv
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis_lib.reports.exhibits.numbers import write_csv
from analysis_lib.reports.trials.rider_trials import BEFOREHAND, BY_RULE, NOT_USED

TABLES = ("trials", "quantities", "profiles", "phases", "meter", "budgets")


@dataclass(frozen=True)
class RiderTables:
    """Tidy tables of one rider.

    Attributes
    ----------
    trials : DataFrame
        One row a trial of trials.csv: ``trial, rider, sequence, period, ring, ring_name, mount_deg,
        intensity, state`` (used, caution, not used), ``reason, kept_turns, dropped_turns`` and the data-
        quality columns.
    quantities : DataFrame
        One row a trial and quantity: ``trial, rider, sequence, period, ring, intensity, quantity, value,
        unit, se, n_turns, n_effective, note``. ``ring`` is the role, round or oval.
    profiles : DataFrame
        One row a trial and degree: ``trial, rider, period, ring, intensity, crank_deg, speed_rad_s`` and
        ``torque_total_Nm, torque_left_Nm, torque_right_Nm`` where they are known.
    phases : DataFrame
        One row an intensity: the rider's torque phase on the round ring and the wanted mount, with intervals.
    meter : DataFrame
        One row an intensity and number of speed sectors: ``rider, intensity, sectors, gap_W``, what a meter
        would add to oval − round by itself.
    budgets : DataFrame
        One row a trial, quantity and uncertain input: ``trial, rider, period, ring, intensity, quantity, total, unit,
        input, contribution``.
    """

    trials: pd.DataFrame
    quantities: pd.DataFrame
    profiles: pd.DataFrame
    phases: pd.DataFrame
    meter: pd.DataFrame
    budgets: pd.DataFrame

    def write(self, results_dir: str, rider: str) -> None:
        """Write each table as CSV into the rider's folder of the report; an empty `results_dir` writes nothing."""
        if results_dir:
            for name in TABLES:
                write_csv(_folder(results_dir, rider) / f"{name}.csv", getattr(self, name))


def has_rider_tables(results_dir: str, rider: str) -> bool:
    """Whether the page of a rider was made and left its tables."""
    folder = _folder(results_dir, rider)
    return all((folder / f"{name}.csv").is_file() for name in TABLES)


def read_rider_table(results_dir: str, rider: str, name: str) -> pd.DataFrame:
    """Read one of the tables that a rider's page left."""
    text: dict[str, type] = dict.fromkeys(
        ("trial", "rider", "sequence", "intensity", "reason", "note", "unit"), str
    )
    return _read(_folder(results_dir, rider) / f"{name}.csv", text)


def faults_of_recordings(results_dir: str, riders: Collection[str]) -> tuple[str, ...]:
    """Return what stopped recordings of listed trials, from the tables that the riders' pages left, each fault once."""
    found: dict[str, None] = {}
    for path in sorted((Path(results_dir) / "tables" / "riders").glob("*/trials.csv")):
        if path.parent.name.partition(".")[0] not in riders:  # R01, or R01.ring of several rings
            continue
        with path.open(encoding="utf-8", newline="") as stream:
            trials = csv.DictReader(stream)
            lost = [row["reason"] for row in trials if row["state"] == NOT_USED and row["usable"] == "True"]
        found |= dict.fromkeys(reason for reason in lost if not reason.startswith((BEFOREHAND, BY_RULE)))
    return tuple(found)


def _read(path: Path, text: dict[str, type]) -> pd.DataFrame:
    frame = pd.read_csv(path, dtype=text)
    words = [name for name in ("reason", "note", "unit") if name in frame]
    return frame.fillna(dict.fromkeys(words, ""))


def _folder(results_dir: str, rider: str) -> Path:
    return Path(results_dir) / "tables" / "riders" / rider
