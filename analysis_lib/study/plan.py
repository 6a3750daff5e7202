"""What a planned study can answer: its riders, its power, its smallest detectable effect, its design."""

from __future__ import annotations

import math
from collections.abc import Callable
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
from analysis_lib.statistics.statistical_power import contrast_sd, difference_power, equivalence_power
from analysis_lib.study.allocation_list import draw_allocation, name_riders
from analysis_lib.study.missing_plan import ask_for_plan
from analysis_lib.study.schedule import make_schedule
from analysis_lib.study.settings import StudySettings

STUDIES = 2000
POWER_COLUMNS = ["test", "true_effect", "riders_needed", "recruit", "power_all_ride", "power_some_stop"]


@dataclass(frozen=True)
class StudyPlan:
    """A study's settings with the riders to be enrolled.

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
        plan = self.settings.planned
        return math.floor(round(len(self.riders) * (1 - plan.dropout), 9))

    @property
    def contrast_sd(self) -> float:
        """SD between riders of oval − round, from the SD within a rider.

        A sequence with a periods on one ring and b on the other counts as 2/(1/a + 1/b) periods a ring;
        sequences are averaged.
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

    @cached_property
    def power_table(self) -> pd.DataFrame:
        """Riders needed and power reached by formula, one row a test.

        Columns test, true_effect, riders_needed, recruit (more, for those who stop), power_all_ride (all
        planned riders finish) and power_some_stop (as many finish as are expected to). riders_needed is <NA>
        where no number of riders is enough.
        """
        matters = self.smallest_effect
        rows = [
            self._difference_row("paired t", 1),
            self._difference_row("t adjusted for sequence", self.sequences),
            self._equivalence_row(0.0),
            self._equivalence_row(matters / 2),
        ]
        frame = pd.DataFrame(rows, columns=POWER_COLUMNS)
        return frame.astype({"riders_needed": "Int64", "recruit": "Int64"})

    def _difference_row(self, test: str, sequences: int) -> tuple:
        plan, effect, sd = self.settings.planned, self.smallest_effect, self.contrast_sd
        size = _or_none(
            lambda: riders_for_difference(effect, sd, plan.power, sequences, plan.alpha, dropout=plan.dropout)
        )
        powers = [difference_power(effect, sd, n, sequences, plan.alpha) for n in self._numbers()]
        return (test, effect, *size, *powers)

    def _equivalence_row(self, true_effect: float) -> tuple:
        plan, bound, sd = self.settings.planned, self.smallest_effect, self.contrast_sd
        size = _or_none(
            lambda: riders_for_equivalence(
                true_effect, -bound, bound, sd, plan.power, self.sequences, plan.alpha, plan.dropout
            )
        )
        powers = [
            equivalence_power(true_effect, -bound, bound, sd, n, self.sequences, plan.alpha)
            for n in self._numbers()
        ]
        return ("two one-sided t", true_effect, *size, *powers)

    def _numbers(self) -> tuple[int, int]:
        return len(self.riders), self.finishing

    @property
    def detectable_effect(self) -> float:
        """Smallest true effect that those who finish find with the wanted power, in the outcome's unit."""
        plan = self.settings.planned
        return smallest_detectable_effect(
            self.contrast_sd, self.finishing, plan.power, self.sequences, plan.alpha
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
    def simulated(self) -> list[SimulatedPlan]:
        """This analysis on simulated studies with drop-outs: no true effect, half of what matters, all of it."""
        return [self.simulate(share * self.smallest_effect) for share in (0.0, 0.5, 1.0)]

    def simulate(self, effect: float, riders: int | None = None) -> SimulatedPlan:
        """Simulate studies of the planned design, riders stopping early as expected.

        Period effects that all riders share are as large as the SD within a rider. Seeded by the study's seed.
        """
        plan, settings = self.settings.planned, self.settings
        beliefs = Beliefs(plan.within_rider_sd, plan.response_sd, plan.within_rider_sd, plan.dropout)
        return simulate_plan(
            settings.design.sequences,
            len(self.riders) if riders is None else riders,
            effect,
            beliefs,
            self.smallest_effect,
            level=1 - plan.alpha,
            studies=STUDIES,
            seed=settings.study.seed,
            rings=(settings.ring_in_role("round"), settings.ring_in_role("oval")),
        )

    def power_curve(self) -> pd.DataFrame:
        """Power against riders recruited: riders, formula (none stop), simulated (some stop) and its se."""
        planned = len(self.riders)
        needed = [int(count) for count in self.power_table["recruit"].dropna()]
        most = min(max([2 * planned, *needed]), 4 * planned)
        numbers = np.unique(np.linspace(2 * self.sequences, most, 9).round().astype(int))
        plans = [self.simulate(self.smallest_effect, int(n)) for n in numbers]
        alpha = self.settings.planned.alpha
        formula = [
            difference_power(self.smallest_effect, self.contrast_sd, int(n), self.sequences, alpha)
            for n in numbers
        ]
        return pd.DataFrame(
            {
                "riders": numbers,
                "formula": formula,
                "simulated": [plan.power for plan in plans],
                "se": [plan.power_se for plan in plans],
            }
        )

    @property
    def design_variance(self) -> DesignVariance:
        """What this design does to the variance of the ring effect, with and without carry-over."""
        return design_variance(self.settings.design.sequences)

    def designs(self) -> pd.DataFrame:
        """This design beside the usual ones: design, periods, plain, with_carry_over, warning (σ²/N)."""
        designs: dict[str, Design] = {"this study": self.settings.design.sequences}
        designs |= {name: spell_design(name) for name in TWO_RING_DESIGNS}
        rows = []
        for name, design in designs.items():
            found = design_variance(design)
            periods = len(next(iter(design.values())))
            rows.append((name, periods, found.plain, found.with_carry_over, found.warning))
        return pd.DataFrame(rows, columns=["design", "periods", "plain", "with_carry_over", "warning"])


def plan_study(settings: StudySettings, listed: tuple[str, ...] = ()) -> StudyPlan:
    """Plan a study from its settings.

    Parameters
    ----------
    settings : StudySettings
        With a plan.
    listed : tuple of str
        Riders that riders.csv names already; they come first.

    Raises
    ------
    Refusal
        No plan; more riders listed than planned; no more riders expected to finish than there are sequences.
    """
    if settings.plan is None:
        raise ask_for_plan(settings)
    wanted = settings.plan
    plan = StudyPlan(settings, tuple(name_riders(wanted.riders, listed)))
    if plan.finishing <= plan.sequences:
        raise Refusal(
            "study.toml, plan.riders",
            f"{wanted.riders}, of whom {plan.finishing} are expected to finish",
            f"more than the {plan.sequences} sequences",
            "recruit more riders",
        )
    return plan


def _or_none(find: Callable[[], SampleSize]) -> tuple[int | None, int | None]:
    """Find riders needed and to recruit; nothing where no number that anybody could recruit is enough."""
    try:
        size = find()
    except Refusal:
        return None, None
    return size.riders, size.recruit
