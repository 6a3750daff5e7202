"""What pages about all riders keep of the riders' tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.once import once
from analysis_lib.reports.files.packed_rows import in_words, packed_together, together
from analysis_lib.reports.rider.budgets import BUDGETED
from analysis_lib.reports.rider.measuring_floor import zeroed_between
from analysis_lib.reports.rider.rider_tables import RiderTables
from analysis_lib.reports.study.laid_aside import CurvesAside
from analysis_lib.reports.study.written_tables import each_table
from analysis_lib.reports.trials.scale_cautions import doubt_recorders, scale_checks
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.protocol import Outcome

CHANNELS = ("total", "left", "right")
"""Torque of both legs together, and of each."""

BIN_CENTRES_DEG = np.arange(0.5, 360)
"""Angles of the right crank in a profile."""

BESIDE_OUTCOMES = (
    "power_W",
    "cadence_rpm",
    "rpe",
    "left_share_pct",
    "torque_phase_deg",
    "torque_phase_left_deg",
    "torque_phase_right_deg",
)
"""What pages about all ask for beside the declared outcomes; a rider's tables have some ninety quantities a trial."""

OF_A_QUANTITY = ("trial", "rider", "sequence", "period", "ring", "intensity", "quantity", "value", "note")
"""What pages about all ask of a quantity's rows."""

OF_A_BUDGET = ("trial", "rider", "period", "ring", "intensity", "input", "contribution")
"""What measuring floors ask of a budget's rows."""


@dataclass(frozen=True)
class StudyTables:
    """A study with the tables of the riders that could be analysed, and why the others could not.

    What pages about all need of a table is taken from one rider's after the other, so that memory hardly grows with the
    riders: not all quantities, repeated words as categories, and torque profiles as each rider's mean on a ring, which a
    file holds.
    """

    study: Study
    tables: Mapping[str, RiderTables]
    left_out: Mapping[str, str]
    kept_of_a_quantity: ClassVar[tuple[str, ...]] = OF_A_QUANTITY

    @cached_property
    def trials(self) -> pd.DataFrame:
        """Every rider's trials, one row each; all of a recorder under caution whose scale all trials together doubt."""
        listed = self.study.trials
        recorder_of = dict(zip(listed["trial"].astype(str), listed["recorder"].astype(str), strict=True))
        return doubt_recorders(scale_checks(self), self._together("trials"), recorder_of)

    @cached_property
    def quantities(self) -> pd.DataFrame:
        """The declared outcomes and what stands beside them, of every used trial, one row each; see `values_of`.

        Words are categories, so that a word is kept once.
        """
        wanted = {*BESIDE_OUTCOMES, *(outcome.name for outcome in self.outcomes)}
        tables = each_table(self.tables, "quantities")
        return packed_together(
            rows[rows["quantity"].isin(wanted)].filter(items=self.kept_of_a_quantity) for rows in tables
        )

    def mean_curves(self, channel: str, intensity: str) -> dict[str, pd.DataFrame]:
        """Return riders by degrees on each ring: each rider's mean torque over trials.

        Only riders, and degrees, with torque of that channel; always against the right crank.
        """
        found = {}
        for ring in sorted(ring for *place, ring in self._curves.keys if place == [channel, intensity]):
            curves = self._curves.under((channel, intensity, ring)).dropna(how="all")
            if len(curves):
                found[ring] = curves.dropna(axis="columns", how="all").sort_index()
        return found

    @cached_property
    def _curves(self) -> CurvesAside:
        """Each rider's mean torque over trials, under channel, intensity and ring."""
        aside = CurvesAside(BIN_CENTRES_DEG)
        for means in map(_mean_torque, each_table(self.tables, "profiles")):
            for channel in means.columns.unique("channel"):
                curves = pd.DataFrame(means[channel]).reindex(columns=BIN_CENTRES_DEG)
                for (intensity, ring, rider), curve in zip(curves.index, curves.to_numpy(), strict=True):
                    aside.add((str(channel), str(intensity), str(ring)), str(rider), curve)
        return aside

    @cached_property
    def meter(self) -> pd.DataFrame:
        """What a meter would add to oval − round by itself, one row a rider, intensity and number of speed sectors."""
        return self._together("meter")

    @cached_property
    def _phases(self) -> pd.DataFrame:
        return self._together("phases")

    def budgets_of(self, outcome: Outcome) -> pd.DataFrame:
        """Return every trial's uncertain inputs to an outcome, one row each; see `budgets.budget_rows`.

        With ``zeroed``: between which zero checks the trial lies. Words are categories, so that a word is kept once.

        Raises
        ------
        Refusal
            For an outcome that is not measured from the recordings' torque and angle.
        """
        if outcome.name not in BUDGETED:
            raise Refusal(
                f"measuring floor of {outcome.label}",
                "an outcome without a budget",
                f"one of {', '.join(BUDGETED)}",
                "ask the maker of its instrument, and repeat the measurement",
            )
        return self._budgets(BUDGETED[outcome.name])

    @once
    def _budgets(self, quantity: str) -> pd.DataFrame:
        zeroed, tables = zeroed_between(self.study), each_table(self.tables, "budgets")
        wanted = (rows.loc[rows["quantity"] == quantity, list(OF_A_BUDGET)] for rows in tables)
        return packed_together(rows.assign(zeroed=rows["trial"].map(zeroed.get)) for rows in wanted)

    @property
    def outcomes(self) -> list[Outcome]:
        """The declared outcomes, the primary one first."""
        return sorted(self.study.settings.outcomes, key=lambda outcome: not outcome.primary)

    @property
    def intensities(self) -> list[str]:
        """The declared intensities in their order."""
        return self.study.settings.intensity_names

    def values_of(self, *quantities: str) -> pd.DataFrame:
        """Return the rows of some quantities: declared outcomes, or those of `BESIDE_OUTCOMES`."""
        if unkept := {*quantities} - {*BESIDE_OUTCOMES, *(outcome.name for outcome in self.outcomes)}:
            raise LookupError(
                f"no page about all riders keeps {', '.join(sorted(unkept))}: add it to BESIDE_OUTCOMES"
            )
        return in_words(self.quantities[self.quantities["quantity"].isin(quantities)])

    def _together(self, name: str) -> pd.DataFrame:
        """One table of every rider."""
        return together(each_table(self.tables, name))


def _mean_torque(profiles: pd.DataFrame) -> pd.DataFrame:
    """Return means over trials, (intensity, ring, rider) by channel and degree, of the channels that are known."""
    known = {f"torque_{channel}_Nm": channel for channel in CHANNELS if f"torque_{channel}_Nm" in profiles}
    cells = profiles.groupby(["intensity", "ring", "rider", "crank_deg"])[list(known)]
    means = cells.mean().rename(columns=known).rename_axis(columns="channel")
    return pd.DataFrame(means.unstack("crank_deg"))
