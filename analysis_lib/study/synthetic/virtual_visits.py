"""A virtual rider's visits to the laboratory: the trials, the zero checks between them, and the truth."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from analysis_lib.study.synthetic.synthetic_plan import SyntheticStudy, VirtualIntensity
from analysis_lib.study.synthetic.virtual_gases import draw_lungs
from analysis_lib.study.synthetic.virtual_recorder import Session, draw_session
from analysis_lib.study.synthetic.virtual_rider import LegProfile, RiderModel, draw_rider, two_leg_phase_deg
from analysis_lib.study.synthetic.virtual_trial import Bench, VirtualTrial

FIRST_VISIT = datetime(2026, 3, 2, 9, 0)
DAYS_BETWEEN_VISITS = 28
PERIODS_A_VISIT = 2
HOURS_A_PERIOD = 0.75
HOURS_TO_TRIALS = 0.2
HOURS_A_TRIAL = 0.12
ZERO_CHECK_SD_NM = 0.02
GAS_TRUTH = ("gross_efficiency_pct", "gross_efficiency_effect")


@dataclass(frozen=True)
class Deal:
    """What chance dealt a rider.

    Attributes
    ----------
    sequence : str
    orders : dict of int to list of str
        Intensities in the order of riding, by period; a period that is absent is ridden as the plan lists them.
    """

    sequence: str
    orders: dict[int, list[str]]


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


def visit_laboratory(plan: SyntheticStudy, number: int, deal: Deal, root: Path) -> RiderRecords:
    """Let one virtual rider ride all periods, and write the recordings.

    Parameters
    ----------
    plan : SyntheticStudy
    number : int
        The rider's number, from 1; with the study's seed it names the stream of random numbers.
    deal : Deal
        The rider's sequence and orders of intensities.
    root : Path
        The study folder; recordings go into its folder ``recordings``.

    Returns
    -------
    RiderRecords
    """
    rng = np.random.default_rng([plan.seed, number])
    model = draw_rider(f"R{number:02d}", deal.sequence, rng, plan.rider_effect_sd)
    settings = plan.settings()
    rings = {name: settings.drivetrain_for(name, plan.mount_of(name)) for name in settings.rings}
    legs = {part.name: _legs_at(model, part) for part in plan.intensities}
    lungs = draw_lungs(plan.gases, plan.seed, number) if plan.gases else None
    bench = Bench(plan, number, model, rings, legs, rng, lungs)
    records = RiderRecords(_rider_row(model), truth=_rider_truth(bench))
    for first in range(1, len(plan.sequences[deal.sequence]) + 1, PERIODS_A_VISIT):
        _spend_visit(bench, deal, first, records, root)
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
            **_efficiency_truth(bench, part),
            "legs": {side: asdict(leg) for side, leg in bench.legs[part.name].items()},
        }
        for part in bench.plan.intensities
    }
    gases = {"gases": bench.lungs.truth()} if bench.lungs else {}
    return {**asdict(model), **gases, "intensities": intensities, "visits": [], "trials": []}


def _efficiency_truth(bench: Bench, intensity: VirtualIntensity) -> dict[str, float]:
    """Gross efficiency on the round ring, and how many points the oval ring's power adds to it."""
    if bench.lungs is None:
        return {}
    usual = bench.model.hard_power_W * intensity.share_of_hard
    each = [
        100 * power / bench.lungs.metabolic_power_W(power)
        for power in (usual, usual * (1 + bench.ring_effect(intensity)))
    ]
    return dict(zip(GAS_TRUTH, (each[0], each[1] - each[0]), strict=True))


def _spend_visit(bench: Bench, deal: Deal, first: int, records: RiderRecords, root: Path) -> None:
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
            for part, place in zip(plan.intensities, _places(plan, deal.orders.get(period)), strict=True)
        ]
        ridden = [trial for trial in trials if trial.is_ridden]
        for trial in ridden:
            row, truth = trial.ride(session, root)
            records.trials.append(row)
            records.truth["trials"].append(truth)
        checks = [begun + 0.1, begun + _hours_to(len(plan.intensities))] if ridden else []
        records.zero_checks += [_check_zero(bench, session, begins, hours) for hours in checks]


def _places(plan: SyntheticStudy, order: list[str] | None) -> list[int]:
    """Give each intensity its place in an order; random numbers are drawn as the plan lists them, in any order."""
    return [order.index(part.name) if order else place for place, part in enumerate(plan.intensities)]


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
