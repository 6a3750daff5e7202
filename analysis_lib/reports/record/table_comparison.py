"""Two copies of a table, held against each other with tolerances that are declared by kind of column.

Files hold ten significant digits. Words, counts and truth values must be equal. Measured and estimated numbers may
differ by what another processor or another build of the linear algebra moves: a millionth of the value, or a
thousand-millionth of the column's largest value where a number is the small difference of large ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Tolerance:
    """How far two numbers of a kind of column may be apart.

    Apart by no more than the largest of ``absolute``, ``relative`` times the number, and ``of_column`` times the
    column's largest number; ``turn`` is the period of an angle, whose ends are one point.
    """

    kind: str
    relative: float = 0.0
    of_column: float = 0.0
    absolute: float = 0.0
    turn: float = 0.0

    def sentence(self) -> str:
        """Say the tolerance in words."""
        parts = [f"{self.absolute:g} in its own unit"] if self.absolute else []
        parts += [f"a relative {self.relative:g}"] if self.relative else []
        parts += [f"{self.of_column:g} of the column's largest number"] if self.of_column else []
        around = f", counted around {self.turn:g}" if self.turn else ""
        return f"{self.kind}: {' or '.join(parts) or 'exactly equal'}{around}"


WORDS = Tolerance("words, truth values and whole numbers")
ANGLES = Tolerance("angles (…_deg)", 1e-6, absolute=1e-6, turn=360.0)
CHANCES = Tolerance("p values (p, p_…, …_p)", 1e-6, absolute=1e-9)
NUMBERS = Tolerance("other numbers", 1e-6, 1e-9)
TOLERANCES = (WORDS, ANGLES, CHANCES, NUMBERS)


def tolerance_of(name: str, there: pd.Series, here: pd.Series) -> Tolerance:
    """Return the tolerance of a column, by its name and the kind of its values.

    >>> whole, real = pd.Series([1, 2]), pd.Series([1.5, 2.5])
    >>> [tolerance_of(name, real, real).kind for name in ("mount_deg", "p", "power_W")]
    ['angles (…_deg)', 'p values (p, p_…, …_p)', 'other numbers']
    >>> tolerance_of("n", whole, whole) is WORDS
    True
    """
    kinds = [(series.dtype.kind if isinstance(series.dtype, np.dtype) else "O") for series in (there, here)]
    if not set(kinds) <= set("iuf") or "f" not in kinds:
        return WORDS
    if name.endswith("_deg"):
        return ANGLES
    return CHANCES if name == "p" or name.startswith("p_") or name.endswith("_p") else NUMBERS


def table_differences(there: pd.DataFrame, here: pd.DataFrame) -> list[str]:
    """Return in words how two tables differ beyond the tolerances; empty when they agree.

    Examples
    --------
    >>> one = pd.DataFrame({"rider": ["R01"], "power_W": [200.0]})
    >>> table_differences(one, one.assign(power_W=200.0001))
    []
    >>> table_differences(one, one.assign(power_W=201.0))
    ['power_W by up to 1 (row 1)']
    """
    if list(there.columns) != list(here.columns):
        gone = [str(name) for name in there if name not in here]
        new = [str(name) for name in here if name not in there]
        words = [f"{word}: {', '.join(names)}" for word, names in (("without", gone), ("with", new)) if names]
        return ["columns, made anew " + "; ".join(words or ["in another order"])]
    if len(there) != len(here):
        return [f"{len(there)} rows there, {len(here)} rows here"]
    return [part for name in there for part in _column_differences(str(name), there[name], here[name])]


def _column_differences(name: str, there: pd.Series, here: pd.Series) -> Iterator[str]:
    tolerance = tolerance_of(name, there, here)
    if tolerance is WORDS:
        words = [series.astype(object).where(series.notna(), "").astype(str) for series in (there, here)]
        rows = np.flatnonzero((words[0] != words[1]).to_numpy())
        if rows.size:
            said = f"{words[0].iloc[rows[0]]!r} there, {words[1].iloc[rows[0]]!r} here"
            yield f"{name} in {rows.size} row{'s' * (rows.size > 1)} (row {rows[0] + 1}: {said})"
        return
    one, two = there.to_numpy(float), here.to_numpy(float)
    empty = np.isnan(one) != np.isnan(two)
    if empty.any():
        yield f"{name} empty in one of them in {empty.sum()} rows (row {np.argmax(empty) + 1})"
    apart, allowed = _apart(one, two, tolerance.turn), _allowed(one, two, tolerance)
    off = apart > allowed
    if off.any():
        worst = int(np.argmax(np.where(off, apart, -1.0)))
        yield f"{name} by up to {apart[worst]:.4g} (row {worst + 1})"


def _apart(one: np.ndarray, two: np.ndarray, turn: float) -> np.ndarray:
    """Distance of two columns, 0 where both are the same infinity or either is empty."""
    with np.errstate(invalid="ignore"):
        apart = np.where(one == two, 0.0, np.abs(one - two))
    apart = np.nan_to_num(apart, nan=0.0, posinf=np.inf)
    return np.minimum(apart, np.abs(turn - apart)) if turn else apart


def _allowed(one: np.ndarray, two: np.ndarray, tolerance: Tolerance) -> np.ndarray:
    size = np.nan_to_num(np.maximum(np.abs(one), np.abs(two)), nan=0.0, posinf=0.0)
    largest = float(size.max(initial=0.0))
    return np.maximum.reduce(
        [
            tolerance.relative * size,
            np.full(size.shape, tolerance.of_column * largest),
            np.full(size.shape, tolerance.absolute),
        ]
    )
