"""Would several rings look as different if the sequences had been dealt otherwise?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import Design
from analysis_lib.statistics.estimates import show_p
from analysis_lib.statistics.relabelling import TIE, allocate
from analysis_lib.statistics.rider_least_squares import indicate_periods
from analysis_lib.statistics.rings import RingsEffect, rings_effect
from analysis_lib.statistics.trial_table import OVERALL, ring_order, split_intensities

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RingsRelabelling:
    """Squares that rings explain under every allocation of sequences to riders, the one that happened first.

    Attributes
    ----------
    quantity : str
    squares, floors : array (allocations,)
        Explained by rings after riders and periods, of the values and of values drawn at random: where the second
        are those of the first allocation, an allocation says the same of any values.
    exact : bool
        Whether all allocations were tried.
    n : int
        Riders.
    """

    quantity: str
    squares: Array
    floors: Array
    exact: bool
    n: int

    @property
    def p(self) -> float:
        """Share of allocations under which rings explain as much as observed; never 0."""
        return float(np.mean(self.squares >= self.squares[0] * (1 - TIE)))

    @property
    def smallest_p(self) -> float:
        """The floor: the smallest p that this study could have given, however different the rings."""
        same = np.abs(self.floors - self.floors[0]) <= TIE * self.floors[0]
        return float(np.mean(same)) if self.exact else 1 / len(self.squares)

    @property
    def method(self) -> str:
        """How it was made, in words."""
        kind = "all" if self.exact else "random"
        count = len(self.squares) - (not self.exact)
        return f"relabelling test, {kind} {count} allocations, smallest possible p {self.smallest_p:.2g}"

    def sentence(self) -> str:
        """One sentence for a report."""
        return f"{self.quantity}: {show_p(self.p)} that no ring differs (n = {self.n}; {self.method})"


def relabel_rings(effect: RingsEffect, intensity: object = OVERALL, seed: int = 0) -> RingsRelabelling:
    """Test that no ring differs from any other by giving the riders one another's sequences.

    If rings do nothing, a rider's values by period would have been the same in any sequence. The statistic is what
    rings explain of value = rider + period + ring; riders and periods explain the same under every allocation, so
    it orders allocations as F does. All allocations up to 20 000, beyond that 9999 at random with
    p = (1 + those that reach the observed)/(1 + 9999). It says nothing about any one ring: under another allocation
    the other rings would move too.

    Raises
    ------
    Refusal
        An unknown intensity, one sequence alone, or a sequence whose ring in some period no trial tells.

    References
    ----------
    Edgington & Onghena, Randomization Tests, 4th ed. 2007.
    """
    parts = dict(split_intensities(effect.trials))
    if intensity not in parts:
        known = ", ".join(map(str, parts))
        raise Refusal("intensity", repr(intensity), f"one of {known}", "use a label of the table")
    seen = parts[intensity].dropna(subset=["value"])
    seen = seen[seen.groupby("rider")["value"].transform("size") > 1]
    order = ring_order(effect.trials)
    riders = seen.drop_duplicates("rider")["rider"].to_numpy()
    labels = seen.drop_duplicates("rider").set_index("rider")["sequence"].loc[riders]
    sequence = order.index.get_indexer(pd.Index(labels))
    used, sequence = np.unique(sequence, return_inverse=True)
    if len(used) < 2:
        got = "one sequence" if len(used) else "no rider with two values"
        remedy = "read the F test; there is nothing to relabel"
        raise Refusal("relabelling test", got, "riders in two sequences or more", remedy)
    allocations, exact = allocate(sequence, np.bincount(sequence), seed)
    place = pd.Index(riders).get_indexer(pd.Index(seen["rider"]))
    values = np.column_stack(
        [seen["value"].to_numpy(dtype=float), np.random.default_rng(0).normal(size=len(seen))]
    )
    ridden = _rings_in_any_sequence(effect, order.iloc[used], seen["period"])
    squares = _explained(values, _take_out(seen), ridden, allocations, place)
    quantity = f"{effect.value}, {intensity}"
    return RingsRelabelling(quantity, squares[:, 0], squares[:, 1], exact, len(riders))


def _rings_in_any_sequence(effect: RingsEffect, order: pd.DataFrame, periods: pd.Series) -> Array:
    """Columns of rings (sequences, trials, rings compared) of each trial's period, had its rider ridden each sequence."""
    at = order.loc[:, periods.to_numpy()]
    if at.isna().any(axis=None):
        got = f"sequence {at.index[at.isna().any(axis=1)][0]} without a trial in some period"
        remedy = "list the trials that were not ridden too, without a value"
        raise Refusal("relabelling test", got, "the ring of every sequence in every period", remedy)
    return np.stack([(at == ring).to_numpy(dtype=float) for ring in effect.rings], axis=2)


def _take_out(seen: pd.DataFrame) -> Array:
    """The projection that leaves what riders and periods do not explain."""
    riders = pd.get_dummies(seen["rider"].astype(str), dtype=float).to_numpy()
    basis = scipy.linalg.orth(np.column_stack([riders, indicate_periods(seen)]))
    return np.eye(len(seen)) - basis @ basis.T


def _explained(
    values: Array, left: Array, ridden: Array, allocations: Iterable[NDArray], place: NDArray[np.intp]
) -> Array:
    """Squares that rings explain of each column of `values` under each allocation (allocations, columns)."""
    rest, trials = left @ values, np.arange(len(values))
    found = []
    for some in allocations:
        columns = left @ ridden[some[:, place], trials]
        inverse = np.linalg.pinv(columns.swapaxes(1, 2) @ columns, rcond=1e-10, hermitian=True)
        score = columns.swapaxes(1, 2) @ rest
        found.append(np.einsum("aij,aik,akj->aj", score, inverse, score))
    return np.concatenate(found)


def rings_relabelling_floor(design: Design, riders_by_sequence: Mapping[str, int], reference: str) -> float:
    """Smallest p that `relabel_rings` can give with these riders, when nobody misses a period.

    Examples
    --------
    One rider in each of Williams's six orders of three rings: 6! deals, of which 3! say the same, 6/720.

    >>> from analysis_lib.statistics.designs import williams_design
    >>> orders = williams_design(["round", "early", "late"])
    >>> round(rings_relabelling_floor(orders, dict.fromkeys(orders, 1), "round"), 6)
    0.008333
    """
    rows = [
        (f"{name} {rider}", name, period, ring, "one")
        for name, riders in riders_by_sequence.items()
        for rider in range(riders)
        for period, ring in enumerate(design[name], start=1)
    ]
    table = pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity"])
    values = np.random.default_rng(1).normal(size=len(table))
    rings = tuple(dict.fromkeys(table["ring"]))
    return relabel_rings(rings_effect(table.assign(y=values), "y", rings, reference)).smallest_p
