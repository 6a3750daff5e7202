"""How far a study has come: planned riders with trials so far, and whether a look at it is one before its end."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.planning.frozen_protocol import OPEN_ALLOCATION, PROTOCOL
from analysis_lib.study.planning.protocol_reading import read_frozen_table, read_protocol


@dataclass(frozen=True)
class Progress:
    """What was planned of a study, and what of it trials.csv lists.

    Attributes
    ----------
    riders_planned : int
        On the frozen allocation list, or else in [plan] of study.toml; at least those of riders.csv.
    riders : int
        With a trial in trials.csv, be it excluded.
    riders_through : int
        Of these, with a trial in the last period.
    periods_planned, periods : int
        Of each sequence, and those in which any rider has a trial.
    ended : bool
        Whether study.toml says that no more will be ridden.
    """

    riders_planned: int
    riders: int
    riders_through: int
    periods_planned: int
    periods: int
    ended: bool

    @property
    def is_interim(self) -> bool:
        """Whether planned riders have no trial yet, or fewer than half of them have come to the last period.

        Riders who have begun and lack periods may have stopped early, which says nothing about the study's end unless
        they are most. Nothing is interim before the first trial, and nothing after the declared end.
        """
        if self.ended or not self.riders:
            return False
        return self.riders < self.riders_planned or 2 * self.riders_through < self.riders_planned


def progress_of(study: Study) -> Progress:
    """Compare what the frozen protocol, or else study.toml, plans with the trials that are listed.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Progress
    """
    periods = study.settings.periods
    ridden = _listed_trials(study)
    return Progress(
        riders_planned=max(_planned(study), len(study.riders)),
        riders=ridden["rider"].nunique(),
        riders_through=ridden.loc[ridden["period"] == periods, "rider"].nunique(),
        periods_planned=periods,
        periods=ridden["period"].nunique(),
        ended=study.settings.study.ended,
    )


def _listed_trials(study: Study) -> pd.DataFrame:
    """Rider and period of each trial of trials.csv whose rider is known, also of those with another cell at fault."""
    trials = pd.concat([part[["trial", "rider", "period"]] for part in (study.trials, study.set_aside)])
    of_nobody = [problem.trial for problem in study.errors if problem.column == "rider"]
    return trials[~trials["trial"].isin(of_nobody)]


def _planned(study: Study) -> int:
    """How many riders the frozen allocation lists, or else [plan] of study.toml; 0 without either."""
    folder = study.root / PLAN_FOLDER
    frozen = read_protocol(folder / PROTOCOL)
    if frozen is not None:
        sha256 = frozen["sha256"][OPEN_ALLOCATION]
        allocation = read_frozen_table(folder / OPEN_ALLOCATION, sha256, ("rider",))
        if allocation is not None:
            return len(allocation)
    return study.settings.plan.riders if study.settings.plan else 0
