"""A study of one rider: what its page says, from many periods whose order of rings was drawn by lot."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import ClassVar, Literal

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.study.study_gathering import gather_study
from analysis_lib.reports.study.study_tables import OF_A_QUANTITY
from analysis_lib.statistics.single_rider import SingleRiderEffect, single_rider_effect
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.synthetic.synthetic import small_rider_study

OF_TURNS = ("se", "n_turns", "n_effective")
"""What the turns of a trial tell of its value; of one rider it is a standard error, of many it is not asked for."""


@dataclass(frozen=True)
class SingleRiderAnalysis(StudyAnalysis):
    """A study of one rider.

    ``is_made_up`` says that no study was named and a virtual rider stands in for one.
    """

    is_made_up: bool = False
    kept_of_a_quantity: ClassVar[tuple[str, ...]] = (*OF_A_QUANTITY, *OF_TURNS)

    @property
    def rider(self) -> str:
        """The rider that the study is of."""
        return str(next(iter(self.tables)))

    @property
    def lot(self) -> Literal["pairs", "free"]:
        """How the order of rings was drawn; refused where study.toml does not say it."""
        drawn = self.study.settings.design.lot
        if drawn is None:
            raise Refusal(
                "study.toml, design.lot",
                "nothing",
                "pairs or free: how the order of rings was drawn",
                "say it; an order that was chosen and not drawn allows no test, so leave it out then",
            )
        return drawn

    def effects(self, outcome: Outcome) -> dict[str, SingleRiderEffect]:
        """Return oval − round at each intensity that has enough periods, and overall (intensities averaged)."""
        if outcome.name not in self._effects:
            self._effects[outcome.name] = self._all_effects(outcome)
        return self._effects[outcome.name]

    @cached_property
    def _effects(self) -> dict[str, dict[str, SingleRiderEffect]]:
        return {}

    def _all_effects(self, outcome: Outcome) -> dict[str, SingleRiderEffect]:
        table = self.outcome_table(outcome)
        overall = self._effect(outcome, table)
        found: dict[str, SingleRiderEffect] = {}
        for intensity in self.levels(outcome):
            here = table[table["intensity"] == intensity]
            try:
                found[intensity] = self._effect(outcome, here)
            except Refusal:
                continue  # named by `without_effect`
        return found | {OVERALL: overall}

    def without_effect(self, outcome: Outcome) -> list[str]:
        """Return the intensities with too few periods for an effect of their own."""
        found = self.effects(outcome)
        return [name for name in self.levels(outcome) if name not in found]

    def _effect(self, outcome: Outcome, table: pd.DataFrame) -> SingleRiderEffect:
        table = table.assign(intensity=table["intensity"].cat.remove_unused_categories())
        seed = self.study.settings.study.seed
        return single_rider_effect(table, outcome.label, self.lot, seed=seed, unit=outcome.difference_unit)

    def periods(self, outcome: Outcome) -> pd.DataFrame:
        """Return one row a period and intensity: ``intensity, period, ring, value, se, n_turns, n_effective``.

        ``se`` is the standard error that the turns of that trial leave, however successive turns go together; it is empty
        for an outcome that was not measured turn by turn.
        """
        place = {name: number for number, name in enumerate(self.levels(outcome))}
        rows = self.comparable_values(outcome)
        rows = rows[rows["intensity"].isin(place)].sort_values(
            ["intensity", "period"], key=lambda part: part.replace(place)
        )
        columns = ["intensity", "period", "ring", "value", *OF_TURNS]
        return rows.reindex(columns=columns).reset_index(drop=True)

    def turn_noise(self, outcome: Outcome) -> pd.DataFrame:
        """Return, by intensity, the standard error of oval − round that the scatter of turns alone would leave.

        Each ring's mean over k periods has √(Σ se²)/k; beside it ``se_periods``, from the scatter of periods on each
        ring: √(s²/k) summed over both, in which the turns' scatter is included. Their ratio says how much longer trials
        could still help: ``se_endless``, √(periods² − turns²), is what trials without end would leave.
        """
        rows = []
        for intensity, here in (
            self.periods(outcome).dropna(subset=["value"]).groupby("intensity", sort=False)
        ):
            rings = [part for _, part in here.groupby("ring")]
            turns = np.sqrt(
                sum(float((part["se"] ** 2).sum(skipna=False)) / len(part) ** 2 for part in rings)
            )
            periods = np.sqrt(sum(part["value"].var(ddof=1) / len(part) for part in rings))
            share = turns / periods if periods > 0 else np.nan
            rows.append((intensity, turns, periods, share, np.sqrt(max(periods**2 - turns**2, 0.0))))
        return pd.DataFrame(rows, columns=["intensity", "se_turns", "se_periods", "share", "se_endless"])

    @cached_property
    def periods_ridden(self) -> pd.DataFrame:
        """The ring of every period: ``period, ring``."""
        return self.trials[["period", "ring"]].drop_duplicates().sort_values("period").reset_index(drop=True)


def analyse_single_rider(study_dir: str = "", results_dir: str = "") -> SingleRiderAnalysis:
    """Gather the one rider of a study; see `study_gathering.analyse_study`.

    Parameters
    ----------
    study_dir : str
        The study folder; empty for a virtual rider, made for the occasion.
    results_dir : str
        The report folder with the rider's tables; empty to read every recording anew.

    Raises
    ------
    Refusal
        A study of several riders, which has a page of its own.
    """
    if study_dir:
        return _gather(study_at(study_dir), results_dir, is_made_up=False)
    with TemporaryDirectory() as folder:
        small_rider_study(Path(folder, "study"))
        return _gather(open_study(Path(folder, "study")), "", is_made_up=True)


def _gather(study: Study, results_dir: str, is_made_up: bool) -> SingleRiderAnalysis:
    if len(study.riders) != 1:
        raise Refusal(
            "riders of the study", str(len(study.riders)), "one", "see 04_study_report.ipynb for a group"
        )
    found = gather_study(study, results_dir)
    return SingleRiderAnalysis(found.study, found.tables, found.left_out, is_made_up)
