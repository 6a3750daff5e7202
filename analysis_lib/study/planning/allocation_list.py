"""The allocation list: who rides which sequence, behind labels that tell nothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.allocation import allocate_riders
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.settings import StudySettings

#: Letters and digits that nobody mistakes for one another.
LABEL_SIGNS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
LABEL_LENGTH = 5
FOR_LABELS = 1


def draw_allocation(settings: StudySettings, riders: Sequence[str]) -> pd.DataFrame:
    """Draw the sequence of each rider from the stored seed, in blocks, and a label for each rider.

    A label belongs to one rider, so that two riders of the same sequence cannot be told to be alike, and the
    end of a block cannot be foretold from those who came before.

    Parameters
    ----------
    settings : StudySettings
        With a plan.
    riders : sequence of str
        In the order in which they will be enrolled; see `name_riders`.

    Returns
    -------
    DataFrame
        rider, label, block, sequence.

    Raises
    ------
    Refusal
        A block that is not a multiple of the sequences.
    """
    plan = settings.planned
    sequences = list(settings.design.sequences)
    drawn = allocate_riders(riders, sequences, plan.allocation_seed, plan.riders_a_block)
    drawn.insert(1, "label", _draw_labels(len(riders), derived_seed(plan.allocation_seed, FOR_LABELS)))
    return drawn


def conceal_allocation(allocation: pd.DataFrame) -> pd.DataFrame:
    """Leave of an allocation what the staff who meet the riders may know: rider and label."""
    return allocation[["rider", "label"]]


def name_riders(plan_riders: int, known: Sequence[str]) -> list[str]:
    """Name as many riders as are planned: those already listed, then R01, R02, ... as far as they are free.

    Raises
    ------
    Refusal
        More riders listed than planned.

    Examples
    --------
    >>> name_riders(3, ["R02"])
    ['R02', 'R01', 'R03']
    """
    if len(known) > plan_riders:
        raise Refusal(
            "study.toml, plan.riders",
            f"{plan_riders}, with {len(known)} riders in riders.csv ({listed(known)})",
            "at least as many as are listed",
            "raise plan.riders, or take riders off the table who were never enrolled",
        )
    free = (f"R{number:02d}" for number in range(1, plan_riders + len(known) + 1))
    spare = [name for name in free if name not in known]
    return [*known, *spare[: plan_riders - len(known)]]


def derived_seed(seed: int, purpose: int) -> int:
    """Derive the seed of one purpose, so that draws for two purposes have nothing to do with each other."""
    return int(np.random.SeedSequence([seed, purpose]).generate_state(1)[0])


def _draw_labels(count: int, seed: int) -> list[str]:
    rng = np.random.default_rng(seed)
    labels: dict[str, None] = {}
    while len(labels) < count:
        labels["".join(rng.choice(list(LABEL_SIGNS), LABEL_LENGTH))] = None
    return list(labels)
