"""A one-rider study from a measured table of pedal force against crank angle."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.settings import FILE, StudySettings
from analysis_lib.study.declared.toml_text import write_toml
from analysis_lib.study.synthetic.synthetic_demo import LANTERN_HILL
from analysis_lib.study.synthetic.synthetic_plan import VirtualIntensity
from analysis_lib.study.synthetic.virtual_recorder import Samples, write_two_leg_crank
from analysis_lib.study.tables.folder_writer import claim_folder, write_table, write_text
from analysis_lib.study.tables.rows import RIDERS, TRIALS, ZERO_CHECKS

COLUMNS = ("crank_deg", "ap_mean_N", "v_mean_N")
DURATION_S, RATE_HZ = 60.0, 200.0
RECORDING = "recordings/M1.parquet"
STARTED_AT = datetime(2026, 3, 2, 9, 0)


def read_leg_torque(table: Path, crank_length_m: float) -> tuple[FloatArray, FloatArray]:
    """Turn a table of pedal force into one leg's torque.

    The force across the crank is F = A cos(theta) - V sin(theta), with A the fore-aft force on the pedal
    (forward positive), V the vertical force (upward positive) and theta the crank angle from top dead centre;
    torque is F x crank length.

    Parameters
    ----------
    table : Path
        CSV with columns crank_deg, ap_mean_N, v_mean_N.
    crank_length_m : float

    Returns
    -------
    tuple of array
        Crank angle in radians and torque in N m.

    Raises
    ------
    Refusal
        For a missing file or column.
    """
    if not table.is_file():
        raise Refusal(
            str(table), "no such file", "a table of pedal force by crank angle", "name another file"
        )
    forces = pd.read_csv(table)
    missing = [name for name in COLUMNS if name not in forces]
    if missing:
        raise Refusal(
            table.name, f"no column {missing[0]}", f"the columns {', '.join(COLUMNS)}", "add the column"
        )
    angle, fore_aft, vertical = (forces[name].to_numpy(float) for name in COLUMNS)
    crank = np.radians(angle)
    return crank, (fore_aft * np.cos(crank) - vertical * np.sin(crank)) * crank_length_m


def write_measured_rider(
    directory: Path | str, table: Path | str, cadence_rpm: float, crank_length_m: float
) -> Path:
    """Write a study of one rider and one trial: both legs as measured, a round ring, an even crank speed.

    Parameters
    ----------
    directory : Path or str
        New or empty folder.
    table : Path or str
        Pedal force of one leg; see `read_leg_torque`. The other leg does the same half a turn later.
    cadence_rpm, crank_length_m : float

    Returns
    -------
    Path
        The study folder.
    """
    crank, torque = read_leg_torque(Path(table), crank_length_m)
    root = claim_folder(Path(directory))
    write_text(root / FILE, write_toml(_declare().model_dump(exclude_defaults=True)) + "\n")
    write_two_leg_crank(root / RECORDING, _sample(crank, torque, cadence_rpm))
    rider = {"rider": "M01", "sequence": "RO", "crank_length_mm": 1000 * crank_length_m}
    trial = {
        **{"trial": "M1", "rider": "M01", "visit": 1, "period": 1, "ring": "round", "intensity": "measured"},
        **{"recorder": "two_leg_crank", "file": RECORDING, "started_at": STARTED_AT.isoformat()},
    }
    checks = [
        {
            "recorder": "two_leg_crank",
            "checked_at": moment.isoformat(),
            "zero_left_Nm": 0.0,
            "zero_right_Nm": 0.0,
        }
        for moment in (STARTED_AT - timedelta(minutes=5), STARTED_AT + timedelta(minutes=5))
    ]
    write_table(root, RIDERS, [rider])
    write_table(root, TRIALS, [trial])
    write_table(root, ZERO_CHECKS, checks)
    return root


def _declare() -> StudySettings:
    """Declare a study of one trial; the oval ring is there because a study compares two."""
    plan = replace(
        LANTERN_HILL,
        name="Measured rider",
        question="What does the analysis say of a measured stroke?",
        intensities=(VirtualIntensity("measured", "As measured", 1.0, 11.0, 0.0),),
        sequences={"RO": ("round", "oval"), "OR": ("oval", "round")},
        spider_riders=(),
        protocol=None,
        gases=None,
    )
    settings = plan.settings()
    measured = [outcome for outcome in settings.outcomes if outcome.source == "signals"]
    return settings.model_copy(update={"outcomes": measured})


def _sample(crank: FloatArray, torque: FloatArray, cadence_rpm: float) -> Samples:
    """Ride the profile with both legs at an even crank speed."""
    time = np.arange(round(DURATION_S * RATE_HZ)) / RATE_HZ
    angle = time * cadence_rpm / 60 * 2 * np.pi
    legs = {
        side: np.interp(angle + turned, crank, torque, period=2 * np.pi)
        for side, turned in (("left", np.pi), ("right", 0.0))
    }
    return Samples(time, angle, legs, np.full(time.size, 20.0))
