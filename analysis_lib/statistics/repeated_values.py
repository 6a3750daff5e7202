"""What does a complete table of repeated values hold: subjects by raters, or riders by trials?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal

Array = NDArray[np.floating]


@dataclass(frozen=True)
class MeanSquares:
    """Two-way analysis of variance of a complete table, one value a cell.

    Attributes
    ----------
    n, k : int
        Subjects (rows) and raters or trials (columns).
    subjects, columns, error, within : float
        Mean squares on n − 1, k − 1, (n − 1)(k − 1) and n(k − 1) df; `within` leaves column means in.
    """

    n: int
    k: int
    subjects: float
    columns: float
    error: float
    within: float


def read_complete_table(table: pd.DataFrame, row: str, column: str, value: str) -> Array:
    """Values as an array (rows, columns), refusing anything but one finite number in every cell."""
    for name in (row, column, value):
        if name not in table.columns:
            raise Refusal(
                "table", f"no column {name!r}", f"one of {', '.join(map(str, table.columns))}", "name it"
            )
    numbers = pd.to_numeric(table[value], errors="coerce")
    bad = ~np.isfinite(numbers.to_numpy(float)) | table[[row, column]].isna().any(axis=1).to_numpy()
    if bad.any():
        at = int(np.argmax(bad))
        where = f"row {at + 1} of column {value!r}"
        raise Refusal(
            where, f"{table[value].iloc[at]}", "a finite number, with both labels", "drop or mend it"
        )
    twice = table.duplicated([row, column])
    if twice.any():
        first = table.loc[twice, [row, column]].iloc[0]
        got = f"two values for {first[row]}, {first[column]}"
        raise Refusal(f"column {value!r}", got, "one value each", "average them, or keep one by a rule")
    wide = table.assign(**{value: numbers}).pivot_table(index=row, columns=column, values=value)
    if wide.isna().any(axis=None):
        missing = wide.index[wide.isna().any(axis=1)][0]
        raise Refusal(f"{row} {missing}", "a missing value", "a value in every cell", "leave that one out")
    if min(wide.shape) < 2:
        raise Refusal(
            "table", f"{wide.shape[0]} × {wide.shape[1]} values", "two or more each way", "measure more"
        )
    return wide.to_numpy(float)


def analyse_variance(values: Array) -> MeanSquares:
    """Mean squares of a complete two-way table (subjects, raters)."""
    n, k = values.shape
    rows, columns = values.mean(axis=1, keepdims=True), values.mean(axis=0, keepdims=True)
    error = ((values - rows - columns + values.mean()) ** 2).sum()
    between = n * ((columns - values.mean()) ** 2).sum()
    return MeanSquares(
        n=n,
        k=k,
        subjects=float(k * rows.var(ddof=1)),
        columns=float(between / (k - 1)),
        error=float(error / ((n - 1) * (k - 1))),
        within=float((error + between) / (n * (k - 1))),
    )
