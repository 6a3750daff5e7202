"""A study whose riders' tables are written down by arithmetic, so that every effect in them is known."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.reports.rider.rider_tables import RiderTables
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.synthetic import small_study

ORDERS = {"ROOR": ("round", "oval", "oval", "round"), "ORRO": ("oval", "round", "round", "oval")}
EFFECT_W = {"easy": 1.0, "steady": 3.0, "hard": 5.0}
LEVEL_W = {"easy": 150.0, "steady": 200.0, "hard": 260.0}
DRIFT_W = (0.0, 2.0, 1.0, 4.0)


TURNS_W, ZERO_W = 0.03, 0.04
"""What a trial's turns and its zero torque, which the trials of a period share, add to its uncertainty."""


def fabricate(
    folder, riders: int = 8, missing=(), orders=ORDERS, noise_W: float = 1.0, budget: float = 1.0
) -> StudyAnalysis:
    """Return a study in which the oval ring adds EFFECT_W; `missing` holds (rider, period, intensity).

    `budget` multiplies the uncertainties of all trials.
    """
    small_study(folder, riders=riders, duration_s=3.0, sequences=orders)
    study = open_study(folder)
    rng = np.random.default_rng(4)
    tables = {}
    for place, (rider, sequence) in enumerate(
        study.riders[["rider", "sequence"]].itertuples(index=False, name=None)
    ):
        rows = []
        for period, ring in enumerate(orders[sequence], start=1):
            for intensity, level in LEVEL_W.items():
                noise = noise_W * rng.normal()
                if (rider, period, intensity) in missing:
                    continue
                power = level * (1 + 0.03 * place) + DRIFT_W[period - 1] + noise
                power += EFFECT_W[intensity] * (ring == "oval")
                rows.append(
                    (f"{rider}-P{period}-{intensity}", rider, sequence, period, ring, intensity, power)
                )
        columns = ["trial", "rider", "sequence", "period", "ring", "intensity", "value"]
        tables[str(rider)] = _tables(pd.DataFrame(rows, columns=columns), rng, budget)
    return StudyAnalysis(study, tables, {})


def _tables(rows: pd.DataFrame, rng: np.random.Generator, budget: float) -> RiderTables:
    trials = rows.drop(columns="value").assign(state="used", reason="", kept_turns=80.0)
    quantities = rows.assign(quantity="power_W", unit="W", se=0.5, n_turns=80, n_effective=40.0, note="")
    phases = pd.DataFrame(columns=["rider", "intensity", "torque_phase_deg"])
    meter = pd.DataFrame(columns=["rider", "intensity", "sectors", "gap_W"])
    return RiderTables(trials, quantities, _profiles(rows, rng), phases, meter, _budgets(rows, budget))


def _budgets(rows: pd.DataFrame, budget: float) -> pd.DataFrame:
    parts = {"turn to turn, torque": TURNS_W, "zero torque between checks": ZERO_W}
    of_trials = rows.drop(columns=["sequence", "value"]).assign(
        quantity="power", unit="W", total=budget * np.hypot(TURNS_W, ZERO_W)
    )
    return pd.concat(
        [of_trials.assign(input=name, contribution=budget * size) for name, size in parts.items()],
        ignore_index=True,
    )


def _profiles(rows: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Torque whose second harmonic peaks at 100°; on the oval ring 2 N m more around 0°, over the turn's end."""
    degrees = np.arange(360) + 0.5
    bump = np.exp(-0.5 * (((degrees + 180) % 360 - 180) / 15) ** 2)
    wave = 1 + 0.6 * np.cos(2 * np.radians(degrees - 100))
    frames = []
    for row in rows.itertuples():
        shape = np.cos(np.radians(degrees[:, None] * (1, 2, 3) + rng.uniform(0, 360, 3))) @ rng.normal(size=3)
        total = 20 * wave + 2.0 * bump * (row.ring == "oval") + 0.2 * shape
        speed = 9 * (1 + 0.03 * np.cos(2 * np.radians(degrees)) * (row.ring == "oval"))
        frame = {"crank_deg": degrees, "speed_rad_s": speed, "torque_total_Nm": total}
        frame |= {"torque_left_Nm": total / 2, "torque_right_Nm": total / 2}
        labels = {name: getattr(row, name) for name in ("trial", "rider", "period", "ring", "intensity")}
        frames.append(pd.DataFrame(frame).assign(**labels))
    return pd.concat(frames, ignore_index=True)
