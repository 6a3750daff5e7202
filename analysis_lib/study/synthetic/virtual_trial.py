"""One virtual trial: ridden, recorded, and written as a row of trials.csv with its truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.study.declared.schema import NO, YES
from analysis_lib.study.synthetic.synthetic_plan import EVERY, SyntheticStudy, VirtualIntensity
from analysis_lib.study.synthetic.virtual_gases import Lungs
from analysis_lib.study.synthetic.virtual_recorder import (
    Fault,
    Session,
    record,
    write_spider,
    write_two_leg_crank,
)
from analysis_lib.study.synthetic.virtual_ride import ride_trial
from analysis_lib.study.synthetic.virtual_rider import LegProfile, RiderModel, two_leg_phase_deg


@dataclass(frozen=True)
class Bench:
    """What stays the same through one rider's visits: the rider, the bicycle and the recorder."""

    plan: SyntheticStudy
    number: int
    model: RiderModel
    rings: dict[str, Drivetrain]
    legs: dict[str, dict[str, LegProfile]]
    rng: np.random.Generator
    lungs: Lungs | None = None

    @property
    def recorder(self) -> str:
        """Name of the recorder on this rider's bicycle."""
        return "spider" if self.number in self.plan.spider_riders else "two_leg_crank"

    @property
    def channels(self) -> tuple[str, ...]:
        """Torque channels of that recorder."""
        return ("total",) if self.recorder == "spider" else ("left", "right")

    def ring_effect(self, intensity: VirtualIntensity) -> float:
        """Relative effect of the oval ring on this rider's torque."""
        return intensity.ring_effect + self.model.ring_effect_extra


@dataclass(frozen=True)
class VirtualTrial:
    """One trial of the plan.

    Attributes
    ----------
    bench : Bench
    visit, period : int
    ring : str
        A ring of the plan.
    intensity : VirtualIntensity
    form : float
        The rider's form in this period, a factor on torque.
    session_begins : datetime
    hours : float
        From the start of the session to the start of the recording.
    """

    bench: Bench
    visit: int
    period: int
    ring: str
    intensity: VirtualIntensity
    form: float
    session_begins: datetime
    hours: float

    @property
    def name(self) -> str:
        """Id of the trial; the analysis reads nothing from it."""
        return f"{self.bench.model.rider}-P{self.period}-{self.intensity.name}"

    @property
    def is_ridden(self) -> bool:
        """Whether the rider rode it at all."""
        return not any(
            missed.rider == self.bench.number
            and missed.period == self.period
            and missed.intensity in (EVERY, self.intensity.name)
            for missed in self.bench.plan.not_ridden
        )

    @property
    def fault(self) -> Fault:
        """What the recorder did wrong, or ""."""
        return next((planned.fault for planned in self.bench.plan.faults if self._is(planned)), "")

    @property
    def exclude_reason(self) -> str:
        """Why the trial does not count, or ""."""
        return next((planned.reason for planned in self.bench.plan.left_out if self._is(planned)), "")

    def _is(self, planned: Any) -> bool:
        here = (self.bench.number, self.period, self.intensity.name)
        return (planned.rider, planned.period, planned.intensity) == here

    @property
    def torque_factor(self) -> float:
        """Ring effect, period effect and form of the period, as one factor on torque."""
        effects = self.bench.plan.period_effects
        period_effect = effects[self.period - 1] if self.period <= len(effects) else 0.0
        ring_effect = self.bench.ring_effect(self.intensity) * self.bench.plan.effect_of(self.ring)
        return self.form * (1 + period_effect) * (1 + ring_effect)

    def ride(self, session: Session, root: Path) -> tuple[dict[str, Any], dict[str, Any]]:
        """Ride the trial and write its recording.

        Returns
        -------
        tuple of dict
            The row of trials.csv and the truth of the trial.
        """
        bench, plan = self.bench, self.bench.plan
        factor = self.torque_factor * (1 + bench.rng.normal(0.0, plan.trial_sd))
        cadence = bench.model.cadence_rpm + bench.rng.normal(0.0, plan.cadence_trial_sd_rpm)
        shift = bench.rng.normal(0.0, plan.phase_trial_sd_deg)
        usual = bench.legs[self.intensity.name]
        legs = {side: leg.scaled(factor).shifted(shift) for side, leg in usual.items()}
        ride = ride_trial(legs, bench.rings[self.ring], cadence, plan.duration_s, plan.variation, bench.rng)
        file = self._write(ride, session, root)
        power = ride.power_W(plan.start_s, plan.duration_s)
        truth = {
            "trial": self.name,
            "torque_factor": factor,
            "cadence_rpm": cadence,
            "torque_phase_deg": two_leg_phase_deg(**legs),
            "power_W": power,
            "fault": self.fault,
        }
        gases, breath = (
            bench.lungs.breathe(power, self.period, self.intensity.name) if bench.lungs else ({}, {})
        )
        return {**self._row(file), **self._scores(power), **gases}, {**truth, **breath}

    def _write(self, ride: Any, session: Session, root: Path) -> str:
        plan = self.bench.plan
        samples = record(ride, session, self.hours, plan.rate_hz, plan.duration_s, self.fault, self.bench.rng)
        is_spider = self.bench.recorder == "spider"
        file = f"recordings/{self.name}.{'csv' if is_spider else 'parquet'}"
        (write_spider if is_spider else write_two_leg_crank)(root / file, samples)
        return file

    def _row(self, file: str) -> dict[str, Any]:
        plan = self.bench.plan
        return {
            "trial": self.name,
            "rider": self.bench.model.rider,
            "visit": self.visit,
            "period": self.period,
            "ring": self.ring,
            "mount_deg": plan.mount_of(self.ring),
            "intensity": self.intensity.name,
            "environment": "ergometer",
            "recorder": self.bench.recorder,
            "file": file,
            "started_at": (self.session_begins + timedelta(hours=self.hours)).isoformat(timespec="seconds"),
            "start_s": plan.start_s,
            "end_s": plan.duration_s,
            "exclude": YES if self.exclude_reason else NO,
            "exclude_reason": self.exclude_reason,
        }

    def _scores(self, power_W: float) -> dict[str, Any]:
        """Outcomes that are not measured by the recorder; heart rate follows power, comfort the ring."""
        model, rng = self.bench.model, self.bench.rng
        effort = power_W / model.hard_power_W
        heart_rate = model.hr_rest_bpm + (model.hr_hard_bpm - model.hr_rest_bpm) * (0.25 + 0.75 * effort)
        comfort = model.comfort + (self.bench.plan.comfort_effect if self.ring != "round" else 0.0)
        return {
            "hr_bpm": round(heart_rate + rng.normal(0.0, 2.0)),
            "rpe": int(np.clip(round(self.intensity.rpe + rng.normal(0.0, 0.6)), 6, 20)),
            "comfort": int(np.clip(round(comfort + rng.normal(0.0, 6.0)), 0, 100)),
        }
