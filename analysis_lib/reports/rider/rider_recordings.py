"""One rider's trials and what was measured in them, before any model speaks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.reports.files.once import once
from analysis_lib.reports.rider.budgets import budget_rows
from analysis_lib.reports.trials.derived_rows import derived_rows
from analysis_lib.signals.stroke import smooth_bin_time
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.checks.folder import Study

LABELS = ["trial", "rider", "sequence", "period", "ring", "intensity"]


@dataclass(frozen=True)
class RiderRecordings:
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

    @once
    def used_on(self, intensity: str, ring: str) -> pd.DataFrame:
        """The trials that gave results at one intensity on one ring."""
        return self.used[(self.used["intensity"] == intensity) & (self.used["ring"] == ring)]

    @cached_property
    def intensities(self) -> list[str]:
        """The declared intensities at which this rider has a result, in their order."""
        ridden = set(self.used["intensity"])
        return [name for name in self.study.settings.intensity_names if name in ridden]

    @cached_property
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
        return [
            f"{sentence.rstrip('.')} ({_which(trials, len(self.results))})."
            for sentence, trials in where.items()
        ]

    @cached_property
    def quantities(self) -> pd.DataFrame:
        """One row a trial and quantity, measured or declared; see `RiderTables`."""
        derived = derived_rows(self.study.settings, self._listed, self.results, LABELS)
        return pd.concat([self._measured(), self._declared(), derived], ignore_index=True)

    @cached_property
    def _listed(self) -> pd.DataFrame:
        """The trials that are not excluded; of two of one cell neither can be told to be the right one."""
        listed = self.trials[~self.trials["exclude"]]
        return listed[~listed.duplicated(["period", "ring", "intensity"], keep=False)]

    def _measured(self) -> pd.DataFrame:
        kept = ["quantity", "value", "unit", "se", "n_turns", "n_effective", "note"]
        return self._labelled({str(trial): self.results[trial].summary[kept] for trial in self.used["trial"]})

    def _declared(self) -> pd.DataFrame:
        """Outcomes that stand in trials.csv."""
        listed = self._listed
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

    def _labelled(self, frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
        """Return the frames of trials one after the other, the labels of each trial beside every row of its own."""
        place = {trial: number for number, trial in enumerate(self.trials["trial"])}
        rows = np.repeat([place[trial] for trial in frames], [len(frame) for frame in frames.values()])
        labels = self.trials[LABELS].iloc[rows].reset_index(drop=True)
        return pd.concat([labels, pd.concat(frames.values(), ignore_index=True)], axis=1)

    @cached_property
    def profiles(self) -> pd.DataFrame:
        """One row a trial and degree of the crank; see `RiderTables`."""
        return self._labelled({trial: _profile_frame(result) for trial, result in self.results.items()})

    @property
    def drawn_channel(self) -> str:
        """The channel to draw: both legs together where they are known, else the one leg that was recorded."""
        known = [name for name in ("total", "left", "right") if f"torque_{name}_Nm" in self.profiles]
        return known[0]

    @once
    def mean_curves(self, column: str) -> pd.DataFrame:
        """Return the mean over a rider's trials of one profile column: ``ring, intensity, crank_deg, column``."""
        means = (
            self.profiles.groupby(["intensity", "ring", "crank_deg"], sort=False)[column].mean().reset_index()
        )
        order = {name: place for place, name in enumerate([*self.intensities, "round", "oval"])}
        return means.sort_values(["intensity", "ring"], key=lambda column: column.map(order), kind="stable")

    @cached_property
    def budgets(self) -> pd.DataFrame:
        """One row a trial, quantity and uncertain input; see `budgets.budget_rows`."""
        return budget_rows(self.study, self.used, self.results)


def _profile_frame(result: TrialResult) -> pd.DataFrame:
    """Return one row a degree of the right crank: ``crank_deg`` (its middle), ``speed_rad_s`` and mean torques."""
    bin_time = smooth_bin_time(result.kept.bin_time_s.mean(axis=0))
    torques = {f"torque_{channel}_Nm": turns.mean(axis=0) for channel, turns in result.kept.profiles.items()}
    speed = 2 * np.pi / bin_time.size / bin_time
    return pd.DataFrame({"crank_deg": np.arange(bin_time.size) + 0.5, "speed_rad_s": speed, **torques})


def _which(trials: list[str], of: int) -> str:
    return "all trials" if len(trials) == of else "trials " + ", ".join(trials)
