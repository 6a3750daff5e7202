"""What a planned study of two rings can answer: its riders, its spread, its design, its own analysis simulated."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import (
    TWO_RING_DESIGNS,
    Design,
    DesignVariance,
    design_variance,
    relabelling_floor,
    spell_design,
)
from analysis_lib.statistics.sample_size import (
    SampleSize,
    riders_for_difference,
    riders_for_equivalence,
    smallest_detectable_effect,
)
from analysis_lib.statistics.simulated_riders import Beliefs
from analysis_lib.statistics.simulation import SimulatedPlan, simulate_plan
from analysis_lib.statistics.statistical_power import contrast_sd, difference_power
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.planning.allocation_list import draw_allocation
from analysis_lib.study.planning.schedule import make_schedule

STUDIES = 2000


@dataclass(frozen=True)
class StudyPlan:
    """A study's settings with the riders to be enrolled; power by formula is in `plan_power`.

    Attributes
    ----------
    settings : StudySettings
        With a plan.
    riders : tuple of str
        In the order of enrolment.
    """

    settings: StudySettings
    riders: tuple[str, ...]

    @cached_property
    def allocation(self) -> pd.DataFrame:
        """Who rides which sequence; see `draw_allocation`."""
        return draw_allocation(self.settings, self.riders)

    @cached_property
    def schedule(self) -> pd.DataFrame:
        """Every ride of every rider; see `make_schedule`."""
        return make_schedule(self.settings, self.allocation)

    @property
    def smallest_effect(self) -> float:
        """The smallest effect of the primary outcome that matters, in its unit."""
        return self.settings.primary_outcome.smallest_effect

    @property
    def sequences(self) -> int:
        """How many sequences the design has."""
        return len(self.settings.design.sequences)

    @property
    def finishing(self) -> int:
        """How many riders are expected to ride all periods: riders · (1 − dropout), rounded down."""
        # Rounding first: 20 · (1 − 0.3) is a hair below 14 in floating point.
        return math.floor(round(len(self.riders) * (1 - self.settings.planned.dropout), 9))

    @property
    def contrast_sd(self) -> float:
        """SD between riders of oval − round, from the SD within a rider.

        A sequence with a periods on one ring and b on the other counts as 2/(1/a + 1/b) periods a ring;
        the variances of the sequences are averaged.
        """
        plan = self.settings.planned
        each = [self._periods_per_ring(order) for order in self.settings.design.sequences.values()]
        periods = 1 / np.mean([1 / periods for periods in each])
        return contrast_sd(plan.within_rider_sd, float(periods), plan.response_sd)

    def _periods_per_ring(self, order: list[str]) -> float:
        counts = [order.count(ring) for ring in self.settings.rings]
        if min(counts) == 0:
            raise Refusal(
                "study.toml, design.sequences",
                "-".join(order),
                "both rings in every sequence",
                "use sequences in which each rider rides both, such as " + TWO_RING_DESIGNS[0],
            )
        return 2 / sum(1 / count for count in counts)

    @property
    def detectable_effect(self) -> float:
        """Smallest true effect that those who finish find with the wanted power, in the outcome's unit."""
        plan = self.settings.planned
        return smallest_detectable_effect(
            self.contrast_sd, self.finishing, plan.power, self.sequences, plan.alpha
        )

    def power_for(self, effect: float, riders: int) -> float:
        """Power by formula to find a true effect, when all of that many riders finish."""
        return difference_power(effect, self.contrast_sd, riders, self.sequences, self.settings.planned.alpha)

    def riders_to_find(self, effect: float, sd: float | None = None, dropout: float = 0.0) -> SampleSize:
        """Riders needed to find a true effect, with the planned SD of contrasts or another."""
        plan = self.settings.planned
        spread = self.contrast_sd if sd is None else sd
        return riders_for_difference(effect, spread, plan.power, self.sequences, plan.alpha, dropout=dropout)

    def riders_to_exclude(self, effect: float, sd: float | None = None, dropout: float = 0.0) -> SampleSize:
        """Riders needed to show that a true effect is smaller than the smallest that matters."""
        plan, bound = self.settings.planned, self.smallest_effect
        spread = self.contrast_sd if sd is None else sd
        return riders_for_equivalence(
            effect, -bound, bound, spread, plan.power, self.sequences, plan.alpha, dropout
        )

    @property
    def riders_by_sequence(self) -> dict[str, int]:
        """How many riders the list gives each sequence."""
        counts = self.allocation["sequence"].value_counts()
        return {name: int(counts.get(name, 0)) for name in self.settings.design.sequences}

    @property
    def relabelling_floor(self) -> float:
        """Smallest p that a relabelling test can reach; refused for other than two sequences."""
        return relabelling_floor(self.riders_by_sequence)

    @cached_property
    def simulated(self) -> Sequence[SimulatedPlan]:
        """This analysis on simulated studies with drop-outs: no true effect, half of what matters, all of it."""
        return [self.simulate(share * self.smallest_effect) for share in (0.0, 0.5, 1.0)]

    @property
    def beliefs(self) -> Beliefs:
        """Riders as planned; period effects that all riders share are as large as the SD within a rider."""
        plan = self.settings.planned
        return Beliefs(plan.within_rider_sd, plan.response_sd, plan.within_rider_sd, plan.dropout)

    def simulate(self, effect: float, riders: int | None = None) -> SimulatedPlan:
        """Simulate studies of the planned design, riders stopping early as expected; seeded by the study's seed."""
        plan, settings = self.settings.planned, self.settings
        return simulate_plan(
            settings.design.sequences,
            len(self.riders) if riders is None else riders,
            effect,
            self.beliefs,
            self.smallest_effect,
            level=1 - plan.alpha,
            studies=STUDIES,
            seed=settings.study.seed,
            rings=(settings.ring_in_role("round"), settings.ring_in_role("oval")),
        )

    @property
    def is_enough(self) -> bool:
        """Whether the simulated studies find the smallest effect that matters with the wanted power."""
        return self.simulated[-1].power >= self.settings.planned.power

    @property
    def design_variance(self) -> DesignVariance:
        """What this design does to the variance of the ring effect, with and without carry-over."""
        return design_variance(self.settings.design.sequences)

    def designs(self) -> pd.DataFrame:
        """This design beside the usual ones: design, periods, plain, with_carry_over, warning (σ²/N)."""
        designs: dict[str, Design] = {"this study": self.settings.design.sequences}
        return designs_table(designs | {name: spell_design(name) for name in TWO_RING_DESIGNS})


def designs_table(designs: Mapping[str, Design]) -> pd.DataFrame:
    """Set designs beside each other: design, periods, plain, with_carry_over, warning (σ²/N), one row each."""
    rows = []
    for name, design in designs.items():
        found = design_variance(design)
        periods = len(next(iter(design.values())))
        rows.append((name, periods, found.plain, found.with_carry_over, found.warning))
    return pd.DataFrame(rows, columns=["design", "periods", "plain", "with_carry_over", "warning"])
