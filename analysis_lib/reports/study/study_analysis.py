"""Everything that the study's page says, from the tables of its riders."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.once import once
from analysis_lib.reports.study.effect_without import effect_without
from analysis_lib.reports.study.study_tables import StudyTables
from analysis_lib.reports.trials.rider_trials import CAUTION
from analysis_lib.statistics.circular import CircularMean, axial_mean, beside_one_another
from analysis_lib.statistics.crossover import RingEffect, ring_effect
from analysis_lib.statistics.curves import PairedCurves, paired_curves
from analysis_lib.statistics.estimates import Estimate, show_count
from analysis_lib.statistics.fixed_riders import FixedRiders, fixed_rider_effect
from analysis_lib.statistics.period_effects import carry_over
from analysis_lib.statistics.relabelling import RelabellingTest, relabelling_test
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.tables.derived_outcomes import levels_of

CELL = ["rider", "sequence", "period", "ring", "intensity"]

FEWEST_FOR_A_BAND = 6
"""2/2⁶ = 0.031 is the first below 0.05."""

FEWEST_TO_SHARE_A_SEQUENCE = 3
"""Riders in the largest sequence, from which curves are adjusted for sequence."""


@dataclass(frozen=True)
class StudyAnalysis(StudyTables):
    """The tables of a study's riders, and what follows from them."""

    def levels(self, outcome: Outcome) -> list[str]:
        """The intensities at which an outcome is analysed, in their order; one name for them all where it takes several."""
        return levels_of(self.study.settings, outcome)

    def without_value(self, outcome: Outcome) -> list[str]:
        """The intensities at which no rider has a value of an outcome that has values elsewhere."""
        known = set(self.values_of(outcome.name).dropna(subset=["value"])["intensity"])
        levels = self.levels(outcome)
        return [name for name in levels if name not in known] if known & set(levels) else []

    def over_intensities(self, outcome: Outcome) -> str:
        """Say what an overall estimate is over: the mean over intensities, or the only one there is."""
        levels = self.levels(outcome)
        return "mean over intensities" if len(levels) > 1 else self.study.settings.intensity_label(levels[0])

    def comparable_values(self, outcome: Outcome) -> pd.DataFrame:
        """Return the outcome's rows of `values_of`, angles moved by whole periods next to one another.

        So torque phases, which are axes, of 179° and 1° differ by two degrees.
        """
        rows = self.values_of(outcome.name)
        known = rows[rows["value"].notna()]
        if outcome.period_deg and len(known):
            moved = _as_neighbours(known["value"], known["rider"], outcome.period_deg)
            return rows.assign(value=moved.reindex(rows.index))
        return rows

    @once
    def outcome_table(self, outcome: Outcome) -> pd.DataFrame:
        """Return one row a trial with a column named by the outcome's label, as `ring_effect` wants it."""
        levels = [name for name in self.levels(outcome) if name not in self.without_value(outcome)]
        rows = self.comparable_values(outcome)
        rows = rows[rows["intensity"].isin(levels)]
        table = rows[[*CELL, "value"]].rename(columns={"value": outcome.label})
        return table.assign(intensity=pd.Categorical(table["intensity"], levels, ordered=True))

    def effect_without_caution(self, outcome: Outcome) -> RingEffect | None:
        """Return the effect without the trials that are used under caution; None where there are none."""
        doubtful = self.trials[self.trials["state"] == CAUTION]
        table = self.outcome_table(outcome)
        trials = self.quantities.loc[table.index, "trial"]
        if not trials.isin(doubtful["trial"]).any():
            return None
        return effect_without(table, trials, doubtful, outcome)

    @once
    def effect(self, outcome: Outcome) -> RingEffect:
        """Return the effect of the oval ring on one outcome; refused where the data cannot carry it."""
        return ring_effect(self.outcome_table(outcome), outcome.label, unit=outcome.difference_unit)

    @once
    def fixed_riders(self, outcome: Outcome) -> FixedRiders:
        """Return the least-squares analysis with fixed riders, and its residuals."""
        return fixed_rider_effect(self.outcome_table(outcome), outcome.label, unit=outcome.difference_unit)

    @once
    def relabelling(self, outcome: Outcome) -> RelabellingTest:
        """Hold the overall effect against the same sequences dealt otherwise."""
        seed = self.study.settings.study.seed
        return relabelling_test(
            self.outcome_table(outcome), outcome.label, seed=seed, unit=outcome.difference_unit
        )

    @once
    def carry_over(self, outcome: Outcome) -> Estimate:
        """Return what an oval ring leaves behind for the next period, less what a round one leaves."""
        return replace(carry_over(self.outcome_table(outcome), outcome.label), unit=outcome.difference_unit)

    @once
    def curve_effect(self, intensity: str, channel: str = "total", ring: str = "oval") -> PairedCurves:
        """Return the mean torque difference around the turn, oval − round, with its family-wise band."""
        differences = self.curve_differences(intensity, channel, ring)
        return self._band(differences, f"torque curves at {intensity}")

    def curve_trend(self, channel: str = "total", ring: str = "oval") -> PairedCurves:
        """Return how the difference curve changes per step of intensity: the mean of the riders' own slopes.

        A band that leaves zero says that the ring acts differently at different intensities, somewhere in
        the turn (ring × intensity). Riders who lack an intensity are left out.
        """
        steps = np.arange(len(self.intensities)) - (len(self.intensities) - 1) / 2
        if len(steps) < 2:
            raise Refusal("trend of torque curves", "one intensity", "at least two", "read its own curve")
        curves = [self.curve_differences(name, channel, ring) for name in self.intensities]
        riders = [rider for rider in curves[0].index if all(rider in curve.index for curve in curves)]
        slopes = sum(
            step * curve.loc[riders].to_numpy() for step, curve in zip(steps, curves, strict=True)
        ) / (steps @ steps)
        return self._band(pd.DataFrame(slopes, index=riders), "trend of torque curves")

    def curve_differences(self, intensity: str, channel: str = "total", ring: str = "oval") -> pd.DataFrame:
        """Return riders by degrees: mean torque over oval periods minus that over round periods.

        ``channel`` is total (both legs), left or right; always against the right crank. ``ring`` names the oval
        ring where a study has several.
        """
        curves = self.mean_curves(channel, intensity)
        if not {"round", ring} <= set(curves):
            legs = "two-leg torque" if channel == "total" else f"torque of the {channel} leg"
            raise Refusal(
                f"torque curves at {intensity}",
                f"{legs} on " + (", ".join(map(str, curves)) or "no ring"),
                "both rings",
                "record both legs, or their total, on both rings",
            )
        both = curves[ring].index.intersection(curves["round"].index)
        return curves[ring].loc[both] - curves["round"].loc[both]

    def phases(self, intensity: str) -> pd.Series:
        """Return each rider's torque phase at one intensity, degrees in [0, 180)."""
        rows = self._phases
        return rows[rows["intensity"] == intensity].set_index("rider")["torque_phase_deg"]

    def mean_phase(self, intensity: str) -> CircularMean:
        """Return the axial mean of the riders' torque phases at one intensity."""
        return axial_mean(self.phases(intensity).to_numpy())

    def meter_gaps(self) -> pd.DataFrame:
        """Return what a meter alone would add to oval − round, by intensity and sectors, with "overall" last.

        Columns ``intensity, sectors, mean_W, lowest_W, highest_W, riders``.
        """
        gaps = self.meter
        over_all = (
            gaps.groupby(["rider", "sectors"], as_index=False)["gap_W"].mean().assign(intensity="overall")
        )
        grouped = pd.concat([gaps, over_all]).groupby(["intensity", "sectors"], sort=False)["gap_W"]
        return grouped.agg(mean_W="mean", lowest_W="min", highest_W="max", riders="size").reset_index()

    def sequences_of(self, riders: pd.Index) -> np.ndarray | None:
        """Return each rider's sequence for curves adjusted for it; None where too few riders share one.

        Flipping the signs of two riders of a sequence turns their difference from its mean into nothing as often as not.
        Where no sequence has a third, flips without any scatter are common and the band grows beyond all use.
        """
        sequence = self.trials.drop_duplicates("rider").set_index("rider")["sequence"].loc[riders]
        shared = sequence.value_counts().max() >= FEWEST_TO_SHARE_A_SEQUENCE
        return sequence.to_numpy(dtype=object) if shared else None

    def _band(self, differences: pd.DataFrame, what: str) -> PairedCurves:
        """Return the family-wise band; refused where sign flips of so few riders make none of 95 %."""
        riders = len(differences)
        if riders < FEWEST_FOR_A_BAND:
            raise Refusal(
                what,
                f"{show_count(riders, 'rider')} on both rings",
                f"at least {FEWEST_FOR_A_BAND}: with fewer no band of 95 % exists, since 2 of 2ⁿ sign flips are extreme",
                "look at the riders' own curves; a band needs more riders",
            )
        seed, sequence = self.study.settings.study.seed, self.sequences_of(differences.index)
        return paired_curves(differences.to_numpy(), seed=seed, sequence=sequence)


def _as_neighbours(angles_deg: pd.Series, riders: pd.Series, period_deg: float) -> pd.Series:
    """Move each rider's angles by whole periods next to one another, then the riders."""
    own = angles_deg.groupby(riders, sort=False).transform(lambda mine: beside_one_another(mine, period_deg))
    means = own.groupby(riders, sort=False).mean()
    moved = pd.Series(beside_one_another(means, period_deg), means.index) - means
    return own + riders.map(moved)
