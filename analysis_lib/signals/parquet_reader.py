"""Read the wanted columns of a Parquet file as numbers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from analysis_lib.refusals import Refusal
from analysis_lib.signals.stored_columns import (
    StoredColumns,
    check_columns,
    check_file,
    check_rows,
    check_size,
    unreadable,
)


def read_parquet_columns(path: Path, wanted: Sequence[str]) -> StoredColumns:
    """Read columns of a Parquet file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : sequence of str
        Names of the columns to read; no other is touched.

    Returns
    -------
    StoredColumns
        Float64 arrays, NaN where the file holds a null; rows are counted from 1.

    Raises
    ------
    Refusal
        Missing, empty, truncated or damaged file; missing column; a column that holds no numbers.
    """
    check_file(path)
    try:
        with parquet.ParquetFile(path) as file:
            check_columns(path.name, file.schema_arrow.names, wanted)
            for name in wanted:
                _check_holds_numbers(path.name, name, file.schema_arrow.field(name).type)
            check_rows(path.name, file.metadata.num_rows)
            # Rows that are all alike take hardly any room in the file.
            check_size(path.name, file.metadata.num_rows)
            # One column after the other: a whole table beside its contiguous copy would take twice the memory.
            values = {name: _as_floats(file.read(columns=[name]).column(name)) for name in wanted}
    except (pa.ArrowException, OSError) as error:
        raise unreadable(path.name, "Parquet", str(error).split(". ")[0]) from error
    return StoredColumns(values, lambda row: f"row {row + 1}")


def _check_holds_numbers(file: str, name: str, kind: pa.DataType) -> None:
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return
    raise Refusal(
        what=f"{file}, column {name!r}",
        got=f"values stored as {kind}",
        wanted="integers, decimals or floating-point numbers",
        remedy="export the recording again with this column as numbers, or map another column",
        scope="trial",
    )


def _as_floats(column: pa.ChunkedArray) -> np.ndarray:
    return np.asarray(column.cast(pa.float64()).to_numpy(), dtype=float)
