"""A study of several oval rings: what its page says, from the tables of its riders."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.opened_study import study_at
from analysis_lib.reports.rider.measuring_floor import measuring_floor
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.study.study_gathering import gather_study
from analysis_lib.statistics.curves import PairedCurves
from analysis_lib.statistics.rings import RingsEffect, rings_effect
from analysis_lib.statistics.rings_relabelling import RingsRelabelling, relabel_rings
from analysis_lib.statistics.trial_table import split_intensities
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.synthetic.synthetic import small_rings_study

REFERENCE = "round"
"""What tables call the ring that all others are held against."""

MADE_UP_RIDERS = 12


@dataclass(frozen=True)
class RingsAnalysis(StudyAnalysis):
    """A study of several oval rings with the tables of its riders.

    ``is_made_up`` says that no study was named and one of virtual riders stands in for it.
    """

    is_made_up: bool = False

    @cached_property
    def ovals(self) -> list[str]:
        """The oval rings, as tables call them."""
        settings = self.study.settings
        return [settings.ring_label(name) for name in settings.oval_rings]

    @property
    def rings(self) -> list[str]:
        """All rings, the round one first."""
        return [REFERENCE, *self.ovals]

    def rings_effect(self, outcome: Outcome) -> RingsEffect:
        """Contrast every oval ring with the round one; refused where the data cannot carry it."""
        if outcome.name not in self._effects:
            table, rings = self.outcome_table(outcome), tuple(self.rings)
            self._effects[outcome.name] = rings_effect(
                table, outcome.label, rings, REFERENCE, unit=outcome.difference_unit
            )
        return self._effects[outcome.name]

    def relabelled(self, outcome: Outcome) -> dict[object, RingsRelabelling]:
        """Deal the sequences otherwise at each intensity and overall; refused where nothing can be dealt."""
        if outcome.name not in self._relabelled:
            effect, seed = self.rings_effect(outcome), self.study.settings.study.seed
            found = {name: relabel_rings(effect, name, seed) for name in effect.families}
            self._relabelled[outcome.name] = found
        return self._relabelled[outcome.name]

    @cached_property
    def _relabelled(self) -> dict[str, dict[object, RingsRelabelling]]:
        return {}

    @cached_property
    def _effects(self) -> dict[str, RingsEffect]:
        return {}

    def ring_curves(self) -> dict[str, PairedCurves]:
        """Return the torque difference around the turn of every oval ring at every intensity, with its band."""
        return {
            f"{ring}, {name}": self.curve_effect(name, ring=ring)
            for ring in self.ovals
            for name in self.intensities
        }

    def ring_differences(self) -> dict[str, pd.DataFrame]:
        """Return the riders' difference curves behind `ring_curves`, under the same names."""
        return {
            f"{ring}, {name}": self.curve_differences(name, ring=ring)
            for ring in self.ovals
            for name in self.intensities
        }

    def ring_leg_curves(self) -> dict[str, PairedCurves]:
        """Return the same for each leg, of riders whose legs were recorded apart."""
        return {
            f"{leg} leg, {ring}, {name}": self.curve_effect(name, leg, ring)
            for leg in ("left", "right")
            for ring in self.ovals
            for name in self.intensities
        }

    def ring_trends(self) -> dict[str, PairedCurves]:
        """Return how each oval ring's difference curve changes per step of intensity, with its band."""
        return {f"{ring} − {REFERENCE}": self.curve_trend(ring=ring) for ring in self.ovals}

    def ring_gaps(self) -> pd.DataFrame:
        """Return what a meter alone would add to each oval ring − round at each intensity.

        Columns ``ring, intensity, sectors, mean_W, lowest_W, highest_W, riders``.
        """
        gaps = self.meter
        if gaps.empty:
            remedy = "record the torque of both legs"
            raise Refusal("a meter's error", "no rider with two-leg torque", "at least one", remedy)
        grouped = gaps.groupby(["ring", "intensity", "sectors"], sort=False)["gap_W"]
        return grouped.agg(mean_W="mean", lowest_W="min", highest_W="max", riders="size").reset_index()

    def floors(self, outcome: Outcome, effect: RingsEffect) -> pd.DataFrame:
        """Return the part of each contrast's standard error that the measurement alone explains.

        Columns ``ring, intensity, riders, floor, estimate, se, share_of_se``.
        """
        rows = self.budgets_of(outcome)
        own, frame = contrasts_of(effect), effect.to_frame().astype({"intensity": str})
        found = []
        for ring in effect.rings:
            pair = rows[rows["ring"].isin([REFERENCE, ring])]
            floor = measuring_floor(pair, own[own["ring"] == ring]).assign(ring=ring)
            found.append(
                floor.merge(frame[["ring", "intensity", "estimate", "se"]], on=["ring", "intensity"])
            )
        together = pd.concat(found, ignore_index=True)
        columns = ["ring", "intensity", "riders", "floor", "estimate", "se"]
        return together[columns].assign(share_of_se=together["floor"] / together["se"])


def contrasts_of(effect: RingsEffect) -> pd.DataFrame:
    """Return each rider's own ring − reference: ``rider, intensity, ring, contrast``; "overall" last.

    Period effects are still in them: they show how riders scatter and are not what is tested.
    """
    frames = []
    for intensity, part in split_intensities(effect.trials):
        wide = part.pivot_table(index="rider", columns="ring", values="value", aggfunc="mean")
        wide = wide.reindex(columns=[effect.reference, *effect.rings])
        rest = wide[effect.rings].sub(wide[effect.reference], axis=0)
        long = rest.reset_index().melt("rider", var_name="ring", value_name="contrast").dropna()
        frames.append(long.assign(intensity=str(intensity)))
    return pd.concat(frames, ignore_index=True)[["rider", "intensity", "ring", "contrast"]]


def analyse_rings(study_dir: str = "", results_dir: str = "") -> RingsAnalysis:
    """Gather the riders of a study of several rings; see `study_gathering.analyse_study`.

    Parameters
    ----------
    study_dir : str
        The study folder; empty for virtual riders on three rings, made for the occasion.
    results_dir : str
        The report folder with the riders' tables; empty to read every recording anew.

    Raises
    ------
    Refusal
        A study with one oval ring, which has a page of its own.
    """
    if study_dir:
        return _gather(study_at(study_dir), results_dir, is_made_up=False)
    with TemporaryDirectory() as folder:
        small_rings_study(Path(folder, "study"), riders=MADE_UP_RIDERS)
        return _gather(open_study(Path(folder, "study")), "", is_made_up=True)


def _gather(study: Study, results_dir: str, is_made_up: bool) -> RingsAnalysis:
    if len(study.settings.oval_rings) < 2:
        raise Refusal(
            "rings of the study", "one oval ring", "two oval rings or more", "see 04_study_report.ipynb"
        )
    found = gather_study(study, results_dir)
    return RingsAnalysis(found.study, found.tables, found.left_out, is_made_up)
