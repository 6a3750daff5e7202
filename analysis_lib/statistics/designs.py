"""In which orders should rings be ridden, and how much does a design let one see?

A design is a mapping of sequence names to rings in riding order, each sequence given to equally many riders:
{"ROOR": ("round", "oval", "oval", "round"), "ORRO": ("oval", "round", "round", "oval")}.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal

Array = NDArray[np.floating]
Design = Mapping[str, Sequence[str]]

# The usual designs of two treatments, after Jones & Kenward, Design and Analysis of Cross-Over Trials, 3rd
# ed. 2014, ch. 3; Balaam's is AB/BA/AA/BB. Recommended ones first.
TWO_RING_DESIGNS = (
    "ABBA/BAAB",
    "ABBA/BAAB/AABB/BBAA",
    "ABB/BAA",
    "AABB/BBAA",
    "AAB/BBA",
    "AB/BA",
    "AB/BA/AA/BB",
    "ABA/BAB",
    "ABAB/BABA",
)


@dataclass(frozen=True)
class DesignVariance:
    """Variance of a difference between two rings, in σ²/N, riders and periods taken out.

    σ² is the variance of one trial within a rider, N the number of riders; the mean over all pairs of rings,
    where there are more than two; infinite where the design cannot tell. For variance 1 and σ = 3 W, 12
    riders give a standard error of 3 · sqrt(1/12) = 0.87 W.

    Attributes
    ----------
    plain : float
        Without carry-over in the model.
    with_carry_over : float
        With a carry-over from the period before in the model.
    carry_over : float
        Of the difference in carry-over itself.
    warning : str
        Why not to use the design, and what instead; empty where there is no reason.
    """

    plain: float
    with_carry_over: float
    carry_over: float
    warning: str

    def sentence(self) -> str:
        """Both variances and the warning, for a reader who chooses a design."""
        shown = [
            f"{v:.3g} σ²/N" if math.isfinite(v) else "unknowable" for v in (self.plain, self.with_carry_over)
        ]
        end = f" {self.warning}" if self.warning else ""
        return f"Variance of the ring difference {shown[0]}, allowing for carry-over {shown[1]}.{end}"


def spell_design(name: str, first: str = "round", second: str = "oval") -> dict[str, tuple[str, ...]]:
    """Write out a design of two rings from its name, such as "ABBA/BAAB", with A the first ring.

    Raises
    ------
    Refusal
        Letters other than A and B, sequences of different length, or one given twice.

    Examples
    --------
    >>> spell_design("ABB/BAA")["BAA"]
    ('oval', 'round', 'round')
    """
    names = name.split("/")
    if (
        not all(names)
        or set(name) - set("AB/")
        or len({len(order) for order in names}) != 1
        or len(set(names)) < len(names)
    ):
        usual = ", ".join(TWO_RING_DESIGNS)
        raise Refusal("design", f"{name!r}", f"different sequences of A and B, as in {usual}", "correct it")
    rings = {"A": first, "B": second}
    return {order: tuple(rings[letter] for letter in order) for order in names}


def williams_design(conditions: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Orders in which each of t conditions is once in every period and follows every other equally often.

    Even t: t orders, every ordered pair of neighbours once. Odd t: 2t orders, every pair twice. The first
    order is 1, 2, t, 3, t − 1, …; each next adds 1 to all, and for odd t the reversed orders follow. Orders
    are named by letters A, B, C … in the order of `conditions`.

    Raises
    ------
    Refusal
        Fewer than two conditions, more than 26, or one given twice.

    References
    ----------
    Williams 1949, Aust J Sci Res A 2:149.

    Examples
    --------
    >>> list(williams_design(["low", "middle", "high", "sprint"]))
    ['ABDC', 'BCAD', 'CDBA', 'DACB']
    """
    t = len(conditions)
    if not 2 <= t <= 26 or len(set(conditions)) < t:
        raise Refusal("conditions", f"{list(conditions)}", "2 to 26 different ones", "list each once")
    first = [0] + [(k + 1) // 2 if k % 2 else t - k // 2 for k in range(1, t)]
    orders = [[(place + shift) % t for place in first] for shift in range(t)]
    if t % 2:
        orders += [order[::-1] for order in orders]
    return {
        "".join(chr(ord("A") + place) for place in order): tuple(conditions[place] for place in order)
        for order in orders
    }


def design_variance(design: Design) -> DesignVariance:
    """Variance of ring differences in a design with equally many riders in each sequence.

    Least squares of value = rider + period + ring (+ ring of the period before) + error, all fixed. The
    information on rings is Σ over sequences of X'MX, with rider and period means taken out by M.

    Raises
    ------
    Refusal
        No sequence, sequences of different length, of one period, or with one ring only.

    References
    ----------
    Jones & Kenward 2014, ch. 3 (two treatments), ch. 4 (Williams).

    Examples
    --------
    AB/BA: a rider's contrast has variance 2σ², so the mean has 2σ²/N; carry-over cannot be told apart.

    >>> design_variance({"AB": ("round", "oval"), "BA": ("oval", "round")}).sentence()[:73]
    'Variance of the ring difference 2 σ²/N, allowing for carry-over unknowabl'
    """
    orders = [tuple(order) for order in design.values()]
    rings = sorted({ring for order in orders for ring in order})
    if len({len(order) for order in orders}) != 1 or len(orders[0]) < 2 or len(rings) < 2:
        got = ", ".join("-".join(order) for order in orders) or "no sequence"
        raise Refusal("design", got, "sequences of one length, two rings or more", "write out every period")
    now = np.array([[[ring == name for name in rings] for ring in order] for order in orders], dtype=float)
    before = np.concatenate([np.zeros_like(now[:, :1]), now[:, :-1]], axis=1)
    plain = _mean_variance(_take_out_riders_and_periods(now), len(rings), 0)
    both = _take_out_riders_and_periods(np.concatenate([now, before], axis=2))
    allowed, carried = (_mean_variance(both, len(rings), start) for start in (0, len(rings)))
    return DesignVariance(plain, allowed, carried, _warn(plain, allowed))


def relabelling_floor(riders_by_sequence: Mapping[str, int]) -> float:
    """Smallest p that a relabelling test of two mirrored sequences can reach, two-sided.

    There are N!/(n1! n2!) ways to share N riders between the sequences. With equally many in both, the
    exchange of all labels gives the same size of effect, so two of them are always as extreme as the
    observed one; otherwise one.

    Raises
    ------
    Refusal
        Another number of sequences than two, or one without riders.

    Examples
    --------
    Three riders in each: 20 ways, 2/20.

    >>> relabelling_floor({"AB": 3, "BA": 3})
    0.1
    """
    counts = list(riders_by_sequence.values())
    if len(counts) != 2 or min(counts) < 1:
        raise Refusal(
            "riders by sequence", f"{counts}", "two sequences with riders in both", "count them again"
        )
    return (2 if counts[0] == counts[1] else 1) / math.comb(sum(counts), counts[0])


def _take_out_riders_and_periods(columns: Array) -> Array:
    """Information matrix of columns (sequences, periods, columns) per rider of a sequence, means removed."""
    rest = columns - columns.mean(axis=1, keepdims=True)
    rest = rest - rest.mean(axis=0, keepdims=True)
    return np.einsum("spi,spj->ij", rest, rest) / len(columns)


def _mean_variance(information: Array, rings: int, start: int) -> float:
    """Mean variance over pairs of the columns from `start`; infinite where a pair cannot be told apart."""
    inverse = np.linalg.pinv(information, rcond=1e-10)
    known = information @ inverse
    variances = []
    for i, j in combinations(range(start, start + rings), 2):
        contrast = np.zeros(len(information))
        contrast[i], contrast[j] = 1, -1
        if np.abs(known @ contrast - contrast).max() > 1e-8:
            return math.inf
        variances.append(contrast @ inverse @ contrast)
    return float(np.mean(variances))


def _warn(plain: float, allowed: float) -> str:
    better = "Prefer ABBA/BAAB or ABB/BAA for two rings, a Williams design for more."
    if math.isinf(plain):
        return f"The rings cannot be told from periods. {better}"
    if math.isinf(allowed):
        return f"The rings cannot be told from carry-over, so all rests on the rest between trials. {better}"
    if allowed > 1.5 * plain:
        return f"Allowing for carry-over costs {allowed / plain:.3g} times the variance. {better}"
    return ""
