"""A virtual rider's visits to the laboratory: the trials, the zero checks between them, and the truth."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from analysis_lib.study.synthetic_plan import SyntheticStudy, VirtualIntensity
from analysis_lib.study.virtual_recorder import Session, draw_session
from analysis_lib.study.virtual_rider import LegProfile, RiderModel, draw_rider, two_leg_phase_deg
from analysis_lib.study.virtual_trial import Bench, VirtualTrial

FIRST_VISIT = datetime(2026, 3, 2, 9, 0)
DAYS_BETWEEN_VISITS = 28
PERIODS_A_VISIT = 2
HOURS_A_PERIOD = 0.75
HOURS_TO_TRIALS = 0.2
HOURS_A_TRIAL = 0.12
ZERO_CHECK_SD_NM = 0.02


@dataclass
class RiderRecords:
    """What one virtual rider leaves behind.

    Attributes
    ----------
    rider : dict
        Row of riders.csv.
    trials, zero_checks : list of dict
        Rows of trials.csv and zero_checks.csv.
    truth : dict
        What was put in: profiles, effects, zero torque, and each trial's true power.
    """

    rider: dict[str, Any]
    trials: list[dict[str, Any]] = field(default_factory=list)
    zero_checks: list[dict[str, Any]] = field(default_factory=list)
    truth: dict[str, Any] = field(default_factory=dict)


def visit_laboratory(plan: SyntheticStudy, number: int, sequence: str, root: Path) -> RiderRecords:
    """Let one virtual rider ride all periods, and write the recordings.

    Parameters
    ----------
    plan : SyntheticStudy
    number : int
        The rider's number, from 1; with the study's seed it names the stream of random numbers.
    sequence : str
        Name of the rider's sequence.
    root : Path
        The study folder; recordings go into its folder ``recordings``.

    Returns
    -------
    RiderRecords
    """
    rng = np.random.default_rng([plan.seed, number])
    model = draw_rider(f"R{number:02d}", sequence, rng, plan.rider_effect_sd)
    settings = plan.settings()
    rings = {name: settings.drivetrain_for(name, plan.mount_of(name)) for name in settings.rings}
    legs = {part.name: _legs_at(model, part) for part in plan.intensities}
    bench = Bench(plan, number, model, rings, legs, rng)
    records = RiderRecords(_rider_row(model), truth=_rider_truth(bench))
    for first in range(1, len(plan.sequences[sequence]) + 1, PERIODS_A_VISIT):
        _spend_visit(bench, first, records, root)
    return records


def _legs_at(model: RiderModel, intensity: VirtualIntensity) -> dict[str, LegProfile]:
    power = model.hard_power_W * intensity.share_of_hard
    return {side: model.leg(side, power, model.cadence_rpm) for side in ("left", "right")}


def _rider_row(model: RiderModel) -> dict[str, Any]:
    return {
        "rider": model.rider,
        "sequence": model.sequence,
        "mass_kg": model.mass_kg,
        "crank_length_mm": model.crank_length_mm,
    }


def _rider_truth(bench: Bench) -> dict[str, Any]:
    model = bench.model
    intensities = {
        part.name: {
            "power_W": model.hard_power_W * part.share_of_hard,
            "ring_effect": bench.ring_effect(part),
            "torque_phase_deg": two_leg_phase_deg(**bench.legs[part.name]),
            "legs": {side: asdict(leg) for side, leg in bench.legs[part.name].items()},
        }
        for part in bench.plan.intensities
    }
    return {**asdict(model), "intensities": intensities, "visits": [], "trials": []}


def _spend_visit(bench: Bench, first: int, records: RiderRecords, root: Path) -> None:
    """Ride the periods of one visit, with a zero check before and after the trials of each."""
    plan = bench.plan
    order = plan.sequences[bench.model.sequence]
    visit = (first - 1) // PERIODS_A_VISIT + 1
    days = bench.number - 1 + DAYS_BETWEEN_VISITS * (visit - 1)
    begins = FIRST_VISIT + timedelta(days=days, hours=2 * (bench.number % 3))
    session = draw_session(bench.channels, bench.rng)
    records.truth["visits"].append({"visit": visit, "begins": begins.isoformat(), **asdict(session)})
    for period in range(first, min(first + PERIODS_A_VISIT, len(order) + 1)):
        begun = (period - first) * HOURS_A_PERIOD
        form = 1 + bench.rng.normal(0.0, plan.period_sd)
        trials = [
            VirtualTrial(
                bench, visit, period, order[period - 1], part, form, begins, begun + _hours_to(place)
            )
            for place, part in enumerate(plan.intensities)
        ]
        ridden = [trial for trial in trials if trial.is_ridden]
        for trial in ridden:
            row, truth = trial.ride(session, root)
            records.trials.append(row)
            records.truth["trials"].append(truth)
        checks = [begun + 0.1, begun + _hours_to(len(plan.intensities))] if ridden else []
        records.zero_checks += [_check_zero(bench, session, begins, hours) for hours in checks]


def _hours_to(place: int) -> float:
    return HOURS_TO_TRIALS + place * HOURS_A_TRIAL


def _check_zero(bench: Bench, session: Session, begins: datetime, hours: float) -> dict[str, Any]:
    """Look at the unloaded recorder; the zero is read with the little error of one look."""
    shown = {
        channel: round(float(session.zero_Nm(channel, hours)) + bench.rng.normal(0.0, ZERO_CHECK_SD_NM), 2)
        for channel in session.drift
    }
    return {
        "recorder": bench.recorder,
        "checked_at": (begins + timedelta(hours=hours)).isoformat(timespec="seconds"),
        "temperature_C": round(float(session.temperature_C(hours)), 1),
        **{f"zero_{channel}_Nm": shown.get(channel) for channel in ("left", "right", "total")},
        "note": "",
    }
