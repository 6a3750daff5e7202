"""Everything that a rider's page says, from that rider's recordings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.mechanics.mounting import MountAdvice, advise_mount
from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.rider_tables import RiderTables
from analysis_lib.reports.ring_comparison import RingComparison
from analysis_lib.signals.stroke import smooth_bin_time
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.folder import Study
from analysis_lib.study.trial_rules import broken_rule

PHASE_DRAWS = 2000
USED, CAUTION, NOT_USED = "used", "caution", "not used"
PHASE_COLUMNS = ["intensity", "torque_phase_deg", "rider"]
METER_COLUMNS = ["rider", "intensity", "sectors", "gap_W"]
LABELS = ["trial", "rider", "sequence", "period", "ring", "intensity"]


@dataclass(frozen=True)
class RiderAnalysis:
    """One rider's trials, analysed where they could be, and the reasons where they could not.

    Attributes
    ----------
    study : Study
    rider : str
    trials : DataFrame
        The rider's rows of trials.csv with ``sequence``, the ring's role as ``ring``, its name as
        ``ring_name``, and ``state`` (used, caution, not used) with its ``reason``.
    results : dict of trial to TrialResult
    """

    study: Study
    rider: str
    trials: pd.DataFrame
    results: dict[str, TrialResult]

    @cached_property
    def used(self) -> pd.DataFrame:
        """The trials that gave results."""
        return self.trials[self.trials["trial"].isin(list(self.results))]

    @property
    def intensities(self) -> list[str]:
        """The declared intensities at which this rider has a result, in their order."""
        ridden = set(self.used["intensity"])
        return [name for name in self.study.settings.intensity_names if name in ridden]

    @property
    def rings(self) -> list[str]:
        """The roles of the rings with a result, round first."""
        return [ring for ring in ("round", "oval") if ring in set(self.used["ring"])]

    @property
    def assumptions(self) -> list[str]:
        """What had to be assumed for any of the trials, each once, with the trials it holds for."""
        where: dict[str, list[str]] = {}
        for trial, result in self.results.items():
            for sentence in result.assumptions:
                where.setdefault(sentence, []).append(trial)
        return [f"{sentence} ({_which(trials, len(self.results))})" for sentence, trials in where.items()]

    @cached_property
    def quantities(self) -> pd.DataFrame:
        """One row a trial and quantity, measured or declared; see `RiderTables`."""
        frames = [self._measured(str(row.trial)) for row in self.used.itertuples()]
        return pd.concat([*frames, self._declared()], ignore_index=True)

    def _measured(self, trial: str) -> pd.DataFrame:
        summary = self.results[trial].summary
        kept = summary[["quantity", "value", "unit", "se", "n_turns", "n_effective", "note"]]
        return self._labels(trial).merge(kept, how="cross")

    def _declared(self) -> pd.DataFrame:
        """Outcomes that stand in trials.csv, for the trials that are not excluded."""
        listed = self.trials[~self.trials["exclude"]]
        outcomes = [
            part for part in self.study.settings.outcomes if part.source == "trials" and part.name in listed
        ]
        frames = [
            listed[LABELS].assign(
                quantity=part.name,
                value=listed[part.name].astype(float),
                unit=part.unit,
                note="from trials.csv",
            )
            for part in outcomes
        ]
        return pd.concat(frames).dropna(subset=["value"]) if frames else pd.DataFrame()

    def _labels(self, trial: str) -> pd.DataFrame:
        return self.trials.loc[self.trials["trial"] == trial, LABELS]

    @cached_property
    def profiles(self) -> pd.DataFrame:
        """One row a trial and degree of the crank; see `RiderTables`."""
        frames = [
            self._labels(trial).merge(_profile_frame(result), how="cross")
            for trial, result in self.results.items()
        ]
        return pd.concat(frames, ignore_index=True)

    @property
    def drawn_channel(self) -> str:
        """The channel to draw: both legs together where they are known, else the one leg that was recorded."""
        known = [name for name in ("total", "left", "right") if f"torque_{name}_Nm" in self.profiles]
        return known[0]

    def mean_curves(self, column: str) -> pd.DataFrame:
        """Return the mean over a rider's trials of one profile column: ``ring, intensity, crank_deg, column``."""
        means = (
            self.profiles.groupby(["intensity", "ring", "crank_deg"], sort=False)[column].mean().reset_index()
        )
        order = {name: place for place, name in enumerate([*self.intensities, "round", "oval"])}
        return means.sort_values(["intensity", "ring"], key=lambda column: column.map(order), kind="stable")

    def stroke_trials(self, intensity: str) -> pd.DataFrame:
        """Return the trials from which the rider's own stroke is taken: on the round ring, else on the oval."""
        here = self.used[self.used["intensity"] == intensity]
        on_round = here[here["ring"] == "round"]
        return on_round if len(on_round) else here

    def phase_draws(self, intensity: str) -> np.ndarray:
        """Return bootstrap draws of the torque phase (deg): the axial mean over the rider's stroke trials."""
        seed = self.study.settings.study.seed
        draws = [
            self.results[trial].phase_draws(PHASE_DRAWS, seed + place)
            for place, trial in enumerate(self.stroke_trials(intensity)["trial"])
        ]
        doubled = np.exp(2j * np.radians(np.stack(draws))).mean(axis=0)
        return np.degrees(np.angle(doubled)) / 2 % 180

    @cached_property
    def mount_advice(self) -> MountAdvice:
        """Where the study's oval ring would sit for this rider."""
        settings = self.study.settings
        oval = settings.ring_in_role("oval")
        mounts = settings.rings[oval].available_mounts_deg
        if not mounts:
            raise Refusal(
                f"ring {oval} in study.toml",
                "no available_mounts_deg",
                "the mount angles that its holes allow",
                "list them in degrees, crank to major axis",
            )
        draws = {name: self.phase_draws(name) for name in self.intensities}
        return advise_mount(settings.drivetrain_for(oval, mounts[0]), draws, mounts)

    def ring_comparison(self, intensity: str) -> RingComparison:
        """Return both rings under this rider's stroke at one intensity, the oval at the mount that was ridden."""
        settings = self.study.settings
        round_name, oval_name = (settings.ring_in_role(role) for role in ("round", "oval"))
        trials = self.stroke_trials(intensity)["trial"]
        torque = np.mean([self.results[trial].torque_at_angles() for trial in trials], axis=0)
        cadence = np.mean([self.results[trial].value("cadence_rpm") for trial in trials])
        drivetrains = {
            "round": settings.drivetrain_for(round_name),
            "oval": settings.drivetrain_for(oval_name, self.mount_deg),
        }
        return RingComparison(drivetrains, torque, float(cadence))

    @property
    def mount_deg(self) -> float:
        """The mount at which this rider rode the oval ring; the nearest available one where it was not ridden."""
        ridden = self.trials.loc[self.trials["ring"] == "oval", "mount_deg"].dropna()
        return float(ridden.iloc[0]) if len(ridden) else self.mount_advice.nearest_mount_deg

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
    if blocking := blocking_problems(study, rider):
        raise Refusals(blocking)
    trials = _labelled_trials(study, rider)
    results, states = {}, []
    for row in trials.itertuples():
        result, state, reason = _analyse_trial(study, row)
        states.append((state, reason))
        if result is not None:
            results[str(row.trial)] = result
    trials = trials.assign(state=[state for state, _ in states], reason=[reason for _, reason in states])
    if not results:
        raise Refusal(
            f"rider {rider}",
            "no trial that could be used: " + "; ".join(dict.fromkeys(trials["reason"])),
            "at least one",
            "mend the recordings that the messages name",
            "rider",
            rider,
        )
    return RiderAnalysis(study, rider, _with_quality(trials, results), results)


def blocking_problems(study: Study, rider: str) -> list[Refusal]:
    """Return what is wrong with the tables and stops this rider altogether."""
    return [problem for problem in study.errors if problem.scope == "rider" and problem.rider == rider]


def _labelled_trials(study: Study, rider: str) -> pd.DataFrame:
    trials = study.trials_of(rider).reset_index(drop=True)
    sequence = str(study.riders.set_index("rider").loc[rider, "sequence"])
    roles = {name: ring.role for name, ring in study.settings.rings.items()}
    return trials.assign(
        sequence=sequence,
        intensity=trials["intensity"].astype(str),
        ring_name=trials["ring"],
        ring=trials["ring"].map(roles),
    )


def _analyse_trial(study: Study, row) -> tuple[TrialResult | None, str, str]:
    if row.exclude:
        return None, NOT_USED, f"excluded: {row.exclude_reason}"
    if not row.usable:
        return (
            None,
            NOT_USED,
            "; ".join(str(problem) for problem in study.errors if problem.trial == row.trial),
        )
    try:
        result = study.load_trial(row.trial)
    except Refusal as refusal:
        return None, NOT_USED, str(refusal)
    if rule := broken_rule(result.quality, study.settings.rules):
        return None, NOT_USED, f"excluded by rule: {rule}"
    return result, CAUTION if result.cautions else USED, " ".join(result.cautions)


def _with_quality(trials: pd.DataFrame, results: dict[str, TrialResult]) -> pd.DataFrame:
    quality = pd.DataFrame([{"trial": trial, **result.quality} for trial, result in results.items()])
    return trials.merge(quality, how="left", on="trial")


def _profile_frame(result: TrialResult) -> pd.DataFrame:
    """Return one row a degree of the right crank: ``crank_deg`` (its middle), ``speed_rad_s`` and mean torques."""
    bin_time = smooth_bin_time(result.kept.bin_time_s.mean(axis=0))
    torques = {f"torque_{channel}_Nm": turns.mean(axis=0) for channel, turns in result.kept.profiles.items()}
    speed = 2 * np.pi / bin_time.size / bin_time
    return pd.DataFrame({"crank_deg": np.arange(bin_time.size) + 0.5, "speed_rad_s": speed, **torques})


def _or_empty(make: Callable[[], pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    try:
        return make()
    except Refusal:
        return pd.DataFrame(columns=columns)


def _which(trials: list[str], of: int) -> str:
    return "all trials" if len(trials) == of else "trials " + ", ".join(trials)
