"""Trials that repeat one another: the same rider, ring and intensity in several periods."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis, analyse_rider
from analysis_lib.signals.trial_summary import period_deg
from analysis_lib.statistics.circular import beside_one_another
from analysis_lib.statistics.estimates import show_count
from analysis_lib.statistics.trial_table import OVERALL, RINGS
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import show_unit


@dataclass(frozen=True)
class RepeatedTrials:
    """One quantity of every used trial, numbered by how often its ring had been planned for the rider before.

    Attributes
    ----------
    study : Study
    riders : mapping of rider to RiderAnalysis
    quantity : str
        Name of the quantity.
    """

    study: Study
    riders: Mapping[str, RiderAnalysis]
    quantity: str

    @cached_property
    def trials(self) -> pd.DataFrame:
        """One row a trial with ``repeat``, ``value`` and ``unit``.

        Columns ``trial, rider, sequence, period, ring, intensity, repeat, value, unit, se, n_turns, n_effective``;
        ``repeat`` counts the periods of the rider's sequence with that ring, so that a missed period leaves a gap.
        Angles are moved by whole periods (axes by half turns) next to one another.
        """
        rows = pd.concat([rider.quantities for rider in self.riders.values()], ignore_index=True)
        here = rows[rows["quantity"] == self.quantity].dropna(subset=["value"])
        if here.empty:
            raise Refusal(
                f"quantity {self.quantity!r}",
                "no trial that has it",
                "one of " + ", ".join(sorted(map(str, rows["quantity"].unique()))),
                "choose one of these",
            )
        order = self._repeat_of_period()
        repeats = [order[cell] for cell in zip(here["sequence"], here["period"], strict=True)]
        values = here["value"].astype(float)
        if (here["unit"] == "deg").all():
            values = pd.Series(beside_one_another(values, period_deg(self.quantity)), index=here.index)
        columns = ["trial", "rider", "sequence", "period", "ring", "intensity", "repeat", "value", "unit"]
        whole = here.assign(repeat=repeats, value=values)
        return whole[[*columns, "se", "n_turns", "n_effective"]].reset_index(drop=True)

    def _repeat_of_period(self) -> dict[tuple[str, int], int]:
        """How often the ring of each period had been ridden by then, from 1, by sequence and period."""
        places = {}
        for sequence, rings in self.study.settings.design.sequences.items():
            for period, ring in enumerate(rings, start=1):
                places[sequence, period] = rings[:period].count(ring)
        return places

    @property
    def unit(self) -> str:
        """Unit of the quantity."""
        return show_unit(str(self.trials["unit"].iloc[0]))

    @property
    def label(self) -> str:
        """The declared label of the quantity, else its name in words."""
        declared = {outcome.name: outcome.label for outcome in self.study.settings.outcomes}
        plain = self.quantity.rsplit("_", 1)[0] if self.unit else self.quantity
        return declared.get(self.quantity, plain.replace("_", " "))

    @property
    def name_with_unit(self) -> str:
        """Label with the unit in brackets."""
        return f"{self.label} ({self.unit})" if self.unit else self.label

    @property
    def intensities(self) -> list[str]:
        """The declared intensities that have trials, in their order."""
        ridden = set(self.trials["intensity"])
        return [name for name in self.study.settings.intensity_names if name in ridden]

    def complete(self, intensity: str, ring: str) -> pd.DataFrame:
        """Return ``rider, repeat, value`` at one intensity (or "overall") and ring, of riders with every repeat.

        Overall is a rider's mean over the intensities of a period that has them all.

        Raises
        ------
        Refusal
            When the ring is ridden once only, or fewer than two riders have every repeat.
        """
        rows = self.trials[self.trials["ring"] == ring]
        if intensity == OVERALL:
            cells = rows.groupby(["rider", "repeat"])["value"]
            rows = cells.mean()[cells.count() == len(self.intensities)].reset_index()
        else:
            rows = rows.loc[rows["intensity"] == intensity, ["rider", "repeat", "value"]]
        repeats = rows["repeat"].nunique()
        full = rows.groupby("rider")["value"].transform("count") == repeats
        kept = rows[full].reset_index(drop=True)
        if repeats < 2 or kept["rider"].nunique() < 2:
            raise Refusal(
                f"repeats of {self.quantity} on the {ring} ring, {intensity}",
                f"{show_count(repeats, 'period')} and {show_count(kept['rider'].nunique(), 'rider')} with all",
                "two periods and two riders or more",
                "ride each ring in two periods at least",
            )
        return kept

    @cached_property
    def pairs(self) -> pd.DataFrame:
        """First and second trial on the same ring: ``rider, ring, intensity, first, second``."""
        two = self.trials[self.trials["repeat"] <= 2]
        wide = two.pivot_table(index=["rider", "ring", "intensity"], columns="repeat", values="value")
        wide = wide.reindex(columns=[1, 2]).dropna().rename(columns={1: "first", 2: "second"})
        if wide.empty:
            raise Refusal(
                f"repeats of {self.quantity}",
                "no rider with trials that count in two periods of one ring",
                "two such periods or more",
                "ride each ring in two periods at least",
            )
        pairs = wide.rename_axis(columns=None).reset_index()
        return pairs.sort_values(
            "ring", key=lambda ring: ring.map(RINGS.index), kind="stable", ignore_index=True
        )


def gather_repeats(study_dir: str, quantity: str) -> RepeatedTrials:
    """Read a study's recordings and keep one quantity; riders who cannot be analysed are left out."""
    study = study_at(study_dir)
    riders = {}
    for rider in study.riders["rider"]:
        try:
            riders[str(rider)] = analyse_rider(study, str(rider))
        except (Refusal, Refusals):
            continue
    if not riders:
        raise Refusal("riders of the study", "none that could be analysed", "at least one", "check the study")
    return RepeatedTrials(study, riders, quantity)
