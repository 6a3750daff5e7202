"""What a planned study of several oval rings or mounts can answer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design, williams_design
from analysis_lib.statistics.many_to_one import many_to_one_power
from analysis_lib.statistics.rider_least_squares import MeansDesign, design_of_means
from analysis_lib.statistics.rings_relabelling import rings_relabelling_floor
from analysis_lib.statistics.sample_size import SampleSize, find_riders
from analysis_lib.statistics.simulated_rings import SimulatedRings, simulate_rings
from analysis_lib.statistics.statistical_power import power_of_two_one_sided
from analysis_lib.study.declared.ring_roles import WILLIAMS
from analysis_lib.study.planning.study_plan import STUDIES, StudyPlan, designs_table


@dataclass(frozen=True)
class RingsPlan(StudyPlan):
    """A study of several oval rings: rider + period + ring, every oval against round with simultaneous bounds.

    Power by formula is that of one oval ring against round, whatever the others do; exact where the rings of a
    sequence are ridden equally often, else with their mean share.
    """

    def check(self) -> None:
        """Refuse a plan that its own analysis could not carry.

        Raises
        ------
        Refusal
            Rings that cannot be told from periods; fewer riders expected to finish than there are sequences, or too
            few for any degrees of freedom.
        """
        orders = self.settings.design.sequences
        remedy = f'write sequences = "{WILLIAMS}", or add orders until each ring comes in every period'
        where = "study.toml, design.sequences"
        ridden = {ring for order in orders.values() for ring in order}
        if ridden != set(self.settings.rings) or not self._tells_rings:
            got = f"{len(orders)} sequences that do not tell all rings from periods"
            raise Refusal(where, got, "every ring in every period, or nearly", remedy)
        least = max(self.sequences, 3)
        if self.finishing < least or self._df(self.finishing) < 1:
            got = f"{self.settings.planned.riders}, of whom {self.finishing} are expected to finish"
            wanted = f"{least} or more, one for each of the {self.sequences} sequences"
            raise Refusal("study.toml, plan.riders", got, wanted, "recruit more riders")

    @property
    def contrasts(self) -> int:
        """How many rings are compared with the round one."""
        return len(self.settings.oval_rings)

    @property
    def contrast_sd(self) -> float:
        """SD between riders of one ring − the round one: sqrt(v (share · SD within² + response_sd²/2)).

        v is the design's variance of a difference in (variance of a rider's mean on a ring)/N, 2 where each rider
        rides each ring; a mean of m periods has the share 1/m of the error of one.
        """
        plan, means = self.settings.planned, self._means
        return math.sqrt(means.variance * (means.share * plan.within_rider_sd**2 + plan.response_sd**2 / 2))

    @property
    def _tells_rings(self) -> bool:
        try:
            return self._means.variance < math.inf
        except Refusal:
            return False

    @cached_property
    def _means(self) -> MeansDesign:
        return design_of_means(self.settings.design.sequences, self.settings.ring_in_role("round"))

    @property
    def detectable_effect(self) -> float:
        """Smallest true effect of one oval ring that those who finish find with the wanted power."""
        wanted, most = self.settings.planned.power, self.contrast_sd
        while self.power_for(most, self.finishing) < wanted:
            most *= 2
        found = scipy.optimize.brentq(lambda e: self.power_for(e, self.finishing) - wanted, 0.0, most)
        return float(found)

    @property
    def relabelling_floor(self) -> float:
        """Smallest p of dealing the sequences otherwise, which asks whether any ring differs at all."""
        reference = self.settings.ring_in_role("round")
        return rings_relabelling_floor(self.settings.design.sequences, self.riders_by_sequence, reference)

    def power_for(self, effect: float, riders: int) -> float:
        """Power by formula to find one oval ring's true effect, when all of that many riders finish."""
        return self._power(effect, riders, self.contrast_sd)

    def equivalence_power_for(self, effect: float, riders: int) -> float:
        """Power by formula to show that one oval ring's true effect is smaller than the smallest that matters."""
        return self._equivalence_power(effect, riders, self.contrast_sd)

    def riders_to_find(self, effect: float, sd: float | None = None, dropout: float = 0.0) -> SampleSize:
        """Riders needed to find one oval ring's true effect; see `StudyPlan.riders_to_find`."""
        spread = self.contrast_sd if sd is None else sd
        return self._find(lambda riders: self._power(effect, riders, spread), spread, dropout)

    def riders_to_exclude(self, effect: float, sd: float | None = None, dropout: float = 0.0) -> SampleSize:
        """Riders needed to show that one oval ring's true effect does not matter."""
        spread = self.contrast_sd if sd is None else sd
        return self._find(lambda riders: self._equivalence_power(effect, riders, spread), spread, dropout)

    def _find(self, power_of, spread: float, dropout: float) -> SampleSize:
        least = next(n for n in range(1, 4) if self._df(n * self.sequences) >= 1)
        aim = f"{self.contrasts} rings against round, all bounds together"
        wanted = self.settings.planned.power
        return find_riders(power_of, self.sequences, wanted, dropout, spread, aim, least)

    def _power(self, effect: float, riders: int, sd: float) -> float:
        alpha, se = self.settings.planned.alpha, sd / math.sqrt(riders)
        return many_to_one_power(effect, se, self._df(riders), self.contrasts, alpha)

    def _equivalence_power(self, effect: float, riders: int, sd: float) -> float:
        each, bound = self.settings.planned.alpha / self.contrasts, self.smallest_effect
        se = sd / math.sqrt(riders)
        return power_of_two_one_sided(effect, -bound, bound, se, self._df(riders), each)

    def _df(self, riders: int) -> int:
        """Residual df: riders' means − riders − columns of periods − rings compared."""
        return round(riders * (self._means.means - 1)) - self._means.period_columns - self.contrasts

    def simulate(self, effect: float, riders: int | None = None) -> SimulatedRings:
        """Simulate studies of the planned design in which every oval ring has the effect; see `StudyPlan.simulate`."""
        plan, settings = self.settings.planned, self.settings
        return simulate_rings(
            settings.design.sequences,
            len(self.riders) if riders is None else riders,
            effect,
            self.beliefs,
            self.smallest_effect,
            (settings.ring_in_role("round"), *settings.oval_rings),
            level=1 - plan.alpha,
            studies=STUDIES,
            seed=settings.study.seed,
        )

    def designs(self) -> pd.DataFrame:
        """This design beside a Williams design of its rings and one in which each ring always follows the same."""
        names = list(self.settings.rings)
        cyclic = {f"start {name}": tuple(np.roll(names, -place)) for place, name in enumerate(names)}
        designs: dict[str, Design] = {
            "this study": self.settings.design.sequences,
            "Williams": williams_design(names),
            "each ring always after the same": cyclic,
        }
        return designs_table(designs)
