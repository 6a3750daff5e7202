"""Everything that a rider's page says: what was recorded, and what models make of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mounting import MountAdvice
from analysis_lib.mechanics.stroke_slope import StrokeSlope
from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.files.first_stage import trial_loader
from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.mount_angle import draw_angle_errors
from analysis_lib.reports.rider.rider_legs import StatedLegs, legs_of
from analysis_lib.reports.rider.rider_mounting import RiderMounting
from analysis_lib.reports.rider.rider_recordings import RiderRecordings
from analysis_lib.reports.rider.rider_slope import choose_slope
from analysis_lib.reports.rider.rider_tables import RiderTables
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.reports.rider.stroke_draws import DRAWS, StrokeDraws, draw_strokes, round_less_oval_Nm
from analysis_lib.reports.trials.other_ring import doubt_rings
from analysis_lib.reports.trials.power_cautions import doubt_power
from analysis_lib.reports.trials.rider_trials import (
    analyse_listed_trial,
    labelled_trials,
    reasons_of_excluded,
    with_quality,
)
from analysis_lib.reports.trials.ring_shapes import doubt_shapes
from analysis_lib.reports.trials.scale_cautions import doubt_scales
from analysis_lib.reports.trials.turned_trials import doubt_mounts
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.problems import suggest

PHASE_COLUMNS = ["intensity", "torque_phase_deg", "rider"]
METER_COLUMNS = ["rider", "intensity", "sectors", "gap_W"]


@dataclass(frozen=True)
class RiderAnalysis(RiderRecordings):
    """One rider's recordings together with stroke, drivetrain, mounting and meter under the study's rings."""

    @once
    def stroke_trials(self, intensity: str) -> pd.DataFrame:
        """Return the trials from which the rider's own stroke is taken: on the round ring, else on the oval."""
        on_round = self.used_on(intensity, "round")
        return on_round if len(on_round) else self.used[self.used["intensity"] == intensity]

    @property
    def only_on_oval(self) -> list[str]:
        """The intensities at which the stroke was recorded on the oval ring alone."""
        return [name for name in self.intensities if set(self.stroke_trials(name)["ring"]) == {"oval"}]

    @cached_property
    def legs(self) -> StatedLegs:
        """The rider's legs: stated lengths, and the mass and crank length of riders.csv."""
        return legs_of(self.study.riders, self.rider)

    @property
    def legs_if_known(self) -> StatedLegs | None:
        """The legs, or None where riders.csv lacks what they need."""
        try:
            return self.legs
        except Refusal:
            return None

    @cached_property
    def stroke(self) -> StrokeDraws:
        """Draws of the rider's own stroke on a round ring; corrected where only the oval ring was ridden."""
        drawn = StrokeDraws.joined(
            [self._draws_of(name, self.stroke_trials(name)) for name in self.intensities]
        )
        if not self.only_on_oval or not self.ridden_mounts_deg or self.legs_if_known is None:
            return drawn
        drives = self.drivetrains(self.ridden_mounts_deg[0])
        return drawn.shifted(round_less_oval_Nm(drives, drawn, self.only_on_oval, self.legs))

    @cached_property
    def slope(self) -> StrokeSlope:
        """How torque falls with crank speed: declared, else told by this rider's cadences, else assumed."""
        trials: dict[str, tuple[list[float], list[float]]] = {}
        for row in self.used[self.used["ring"] == "round"].itertuples():
            result = self.results[str(row.trial)]
            if result.layout not in ("two legs", "total only"):
                continue  # one leg's torque falls by its own share, which may change with cadence
            cadences, torques = trials.setdefault(str(row.intensity), ([], []))
            cadences.append(result.value("cadence_rpm"))
            torques.append(float(result.torque_at_angles().mean()))
        return choose_slope(self.study.settings.drivetrain.torque_lost_pct_per_rpm, trials)

    def drivetrains(self, mount_deg: float) -> dict[str, Drivetrain]:
        """The study's drivetrain with each of its rings, by role, the oval one at a mount."""
        settings = self.study.settings
        return {
            "round": settings.drivetrain_for(settings.ring_in_role("round")),
            "oval": settings.drivetrain_for(settings.ring_in_role("oval"), mount_deg),
        }

    def ring_draws(self, intensity: str, ring: str) -> StrokeDraws:
        """Draws of the mean turn of the trials on one ring at one intensity, as recorded."""
        return self._draws_of(intensity, self.used_on(intensity, ring))

    def _draws_of(self, intensity: str, trials: pd.DataFrame) -> StrokeDraws:
        """Draw the stroke of some trials once, however many sections of the page ask for it."""
        asked = (intensity, *map(str, trials["trial"]))
        if asked not in self._drawn:
            pairs = zip(trials["trial"], trials["period"], strict=True)
            results = [(str(trial), int(period), self.results[str(trial)]) for trial, period in pairs]
            self._drawn[asked] = draw_strokes({intensity: results}, self.study.settings.study.seed)
        return self._drawn[asked]

    @cached_property
    def _drawn(self) -> dict[tuple[str, ...], StrokeDraws]:
        return {}

    @cached_property
    def mounting(self) -> RiderMounting:
        """Where the study's oval ring could sit for this rider, by every criterion."""
        trials = {name: self.stroke_trials(name) for name in self.intensities}
        settings, cadence = self.study.settings, self.stroke.cadence_rpm
        angle = draw_angle_errors(settings.recorders, trials, cadence, settings.study.seed, self.rider, DRAWS)
        return RiderMounting(settings, self.stroke, angle)

    @property
    def mount_advice(self) -> MountAdvice:
        """Where the oval ring's largest arm would meet this rider's torque phase."""
        return self.mounting.advice

    def ring_comparison(self, intensity: str) -> RingComparison:
        """Return both rings under this rider's stroke at one intensity, the oval at the mount that was ridden."""
        if intensity not in self.intensities:
            wanted = f"one of {', '.join(self.intensities)}"
            remedy = suggest(intensity, self.intensities, "name one that this rider rode")
            raise Refusal("intensity", repr(intensity), wanted, remedy)
        if intensity not in self._compared:
            trials = self.stroke_trials(intensity)["trial"]
            torque = np.mean([self.results[trial].torque_at_angles() for trial in trials], axis=0)
            cadence = float(np.mean([self.results[trial].value("cadence_rpm") for trial in trials]))
            drives = self.drivetrains(self.mount_deg)
            self._compared[intensity] = RingComparison(drives, torque, cadence, self.slope)
        return self._compared[intensity]

    @cached_property
    def _compared(self) -> dict[str, RingComparison]:
        return {}

    @property
    def mount_deg(self) -> float:
        """The mount at which this rider rode the oval ring; the nearest available one where it was not ridden."""
        ridden = self.ridden_mounts_deg
        return ridden[0] if ridden else self.mount_advice.nearest_mount_deg

    @cached_property
    def ridden_mounts_deg(self) -> list[float]:
        """The mounts at which the oval ring was ridden, each once; first those of trials that count.

        A trial may be excluded because the ring sat wrongly.
        """
        on_oval = (trials[trials["ring"] == "oval"] for trials in (self.used, self.trials))
        ridden = [mount for trials in on_oval for mount in trials["mount_deg"].dropna()]
        return [float(mount) for mount in dict.fromkeys(ridden)]

    @cached_property
    def meter(self) -> pd.DataFrame:
        """What a meter alone would add to oval − round: ``rider, intensity, sectors, gap_W``."""
        gaps = [self.ring_comparison(name).meter_gap().assign(intensity=name) for name in self.intensities]
        return pd.concat(gaps, ignore_index=True).assign(rider=self.rider)[
            ["rider", "intensity", "sectors", "gap_W"]
        ]

    @property
    def tables(self) -> RiderTables:
        """The tables that the study's page builds on; what this rider's channels cannot tell has no rows."""
        return RiderTables(
            self.trials,
            self.quantities,
            self.profiles,
            _or_empty(lambda: self.mount_advice.by_intensity.assign(rider=self.rider), PHASE_COLUMNS),
            _or_empty(lambda: self.meter, METER_COLUMNS),
            self.budgets,
        )


def analyse_rider(study: Study, rider: str) -> RiderAnalysis:
    """Analyse every trial of one rider; a trial that cannot be used keeps its reason and the others go on.

    Raises
    ------
    Refusals
        When the tables disagree about this rider.
    Refusal
        When no trial of the rider can be used.
    """
    trials, results = read_rider(study, rider)
    if trials.empty:
        raise no_trials(rider)
    if trials["exclude"].all():
        raise all_excluded(rider, trials)
    if not results:
        raise Refusal(
            f"rider {rider}",
            f"no trial that could be used, of {len(trials)} listed",
            "at least one",
            "mend what the rider's page says of each",
            "rider",
            rider,
            each=tuple(f"{row.trial}: {row.reason}" for row in trials.itertuples()),
        )
    return RiderAnalysis(study, rider, trials, results)


def no_trials(rider: str) -> Refusal:
    """Return what is said of a rider of whom no trial is listed yet."""
    got, wanted = "no trial in trials.csv", "at least one that was ridden"
    return Refusal(
        f"rider {rider}", got, wanted, "run the report again once trials are listed", "rider", rider
    )


def all_excluded(rider: str, trials: pd.DataFrame) -> Refusal:
    """Return what is said of a rider whose trials, as listed, are all excluded."""
    return Refusal(
        f"rider {rider}",
        f"every trial excluded in trials.csv, {len(trials)} of {len(trials)}",
        "at least one that counts",
        "leave it so where the reasons hold",
        "rider",
        rider,
        each=reasons_of_excluded(trials),
    )


def read_rider(study: Study, rider: str) -> tuple[pd.DataFrame, dict[str, TrialResult]]:
    """Read every trial of one rider.

    Returns
    -------
    tuple of DataFrame and dict of trial to TrialResult
        The trials with ``state``, ``reason`` and data quality, and the results of those that gave any.

    Raises
    ------
    Refusals
        When the tables disagree about this rider.
    """
    if blocking := blocking_problems(study, rider):
        raise Refusals(blocking)
    trials = labelled_trials(study, rider)
    load_trial = trial_loader(study)
    results, states = {}, []
    for row in trials.itertuples():
        result, state, reason = analyse_listed_trial(study, row, load_trial)
        states.append((state, reason))
        if result is not None:
            results[str(row.trial)] = result
    # Text also where no trial is listed: cautions are added to it.
    told = pd.DataFrame(states, trials.index, ["state", "reason"], dtype="str")
    trials = trials.assign(state=told["state"], reason=told["reason"])
    trials = doubt_mounts(study.settings, doubt_rings(study.settings, trials, results), results)
    trials = doubt_shapes(study.settings, trials, results)
    trials = doubt_scales(study.settings, trials, results)
    trials = doubt_power(trials, results)
    return with_quality(trials, results), results


def blocking_problems(study: Study, rider: str) -> list[Refusal]:
    """Return what is wrong with the tables and stops this rider altogether."""
    return [problem for problem in study.errors if problem.scope == "rider" and problem.rider == rider]


def _or_empty(make: Callable[[], pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    try:
        return make()
    except Refusal:
        return pd.DataFrame(columns=columns)
