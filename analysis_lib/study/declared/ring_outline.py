"""The outline file of a ring: points on its pitch curve, read from the study folder."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import listed

COLUMNS = ("forward_mm", "upward_mm")


def read_outline(root: Path, file: str) -> list[list[float]]:
    """Read the points of a ring's pitch curve.

    Parameters
    ----------
    root : Path
        The study folder.
    file : str
        Path inside it of a CSV with the columns forward_mm and upward_mm: millimetres from the crank axis, seen
        from the rider's right, one row a point, in order around the ring.

    Returns
    -------
    list of [forward, upward]

    Raises
    ------
    Refusal
        For a missing file or column, or a cell that is no number.
    """
    path = root / file
    if not path.is_file():
        raise Refusal("outline", f"{file!r}, no such file", "a file of the study folder", "correct the path")
    table = pd.read_csv(path, dtype=str, encoding="utf-8-sig", compression=None)
    missing = [name for name in COLUMNS if name not in table]
    if missing:
        remedy = "name the columns so, separated by commas"
        raise Refusal(f"outline {file}", f"no column {missing[0]}", f"the columns {listed(COLUMNS)}", remedy)
    points = table[list(COLUMNS)].apply(pd.to_numeric, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero(~np.isfinite(points).all(axis=1))
    if bad.size:
        cells = ", ".join(table[list(COLUMNS)].astype(str).iloc[bad[0]])
        remedy = "write two numbers with decimal points in each row"
        raise Refusal(f"outline {file}, row {bad[0] + 2}", cells, "two numbers", remedy)
    return points.tolist()
