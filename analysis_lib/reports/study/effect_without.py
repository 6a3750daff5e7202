"""The effect on an outcome without the trials that something speaks against."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.trials.other_ring import of_another_ring
from analysis_lib.reports.trials.ring_shapes import LOOK_AT, RING_FACTOR
from analysis_lib.reports.trials.turned_trials import TURNED_BY
from analysis_lib.statistics.crossover import RingEffect, ring_effect
from analysis_lib.study.declared.protocol import Outcome

REMEDY = (
    "mend what the table of cautions says of them; more trials of the same kind would be doubted like these"
)


def effect_without(
    table: pd.DataFrame, trials: pd.Series, doubted: pd.DataFrame, outcome: Outcome
) -> RingEffect:
    """Return the effect on an outcome without the doubted trials.

    Parameters
    ----------
    table : DataFrame
        One row a trial, as `ring_effect` wants it.
    trials : Series
        The trial of each row.
    doubted : DataFrame
        The trials to leave out, with ``trial, ring, reason``.
    outcome : Outcome

    Raises
    ------
    Refusal
        Where a ring has no other trial, with what is to be done about these; and what `ring_effect` refuses.
    """
    kept = table[~trials.isin(doubted["trial"])]
    lost = [ring for ring in pd.unique(table["ring"]) if ring not in set(kept["ring"])]
    if lost:
        raise Refusal(
            "trials that nothing speaks against",
            f"none on {' or '.join(map(str, sorted(lost)))}",
            "some on both rings",
            _what_to_do({str(ring): doubted[doubted["ring"] == ring] for ring in sorted(lost)}),
        )
    return ring_effect(kept, outcome.label, unit=outcome.difference_unit)


def _what_to_do(doubted: Mapping[str, pd.DataFrame]) -> str:
    """Say what to do about the doubted trials of each ring, and once where it is the same for all."""
    each = {ring: _remedy(trials) for ring, trials in doubted.items()}
    if len(set(each.values())) == 1:
        return next(iter(each.values()))
    return "; ".join(f"on {ring}: {remedy}" for ring, remedy in each.items())


def _remedy(doubted: pd.DataFrame) -> str:
    """Name the cause where all the trials share one that lies outside them: there, more trials would not help."""
    if RING_FACTOR in doubted and doubted[RING_FACTOR].notna().all():
        return (
            f"measure the ring and correct {LOOK_AT}: more trials on the ring would be doubted like these as long as its"
            " declared shape stands"
        )
    if TURNED_BY in doubted and doubted[TURNED_BY].notna().all():
        return (
            "measure the mount and the zero of the crank angle, and correct mount_deg or the zero: more trials ridden and"
            " listed in the same way would be doubted like these"
        )
    if of_another_ring(doubted).all():
        return "look for rings exchanged, in trials.csv or in [rings] of study.toml, and put them right"
    return REMEDY
