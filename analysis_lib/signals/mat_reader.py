"""Read variables of a MATLAB file as columns: version 5 to 7 with scipy, version 7.3 (HDF5) with the extra h5py."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import scipy  # its part for MATLAB files is loaded when one is read
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.mat_structures import check_structures
from analysis_lib.signals.stored_columns import (
    StoredColumns,
    check_columns,
    check_file,
    check_rows,
    check_size,
)

FloatArray = NDArray[np.float64]
HDF5_MAGIC = b"\x89HDF\r\n\x1a\n"
MAT_5_MAGIC = b"MATLAB 5.0 MAT-file"
STRUCTURES = ("struct", "cell", "object")


def read_mat_columns(path: Path, wanted: Sequence[str]) -> StoredColumns:
    """Read variables of a MATLAB file.

    Parameters
    ----------
    path : Path
        The file, of version 5, 6, 7 or 7.3; which, its first bytes tell.
    wanted : sequence of str
        Names of numeric vectors; a field of a structure as ``"ride.torque"``.

    Returns
    -------
    StoredColumns
        Float64 arrays; rows are counted from 1, as in MATLAB.

    Raises
    ------
    Refusal
        Missing, empty or damaged file; another kind of file; missing variable; variables that are no numeric
        vectors of one length; more numbers than a recording can hold; version 7.3 without h5py.
    """
    check_file(path)
    with path.open("rb") as file:
        start = file.read(520)
    try:
        if start.startswith(HDF5_MAGIC) or start[512:520] == HDF5_MAGIC:
            values = _read_hdf5(path, wanted)
        elif start.startswith(MAT_5_MAGIC):
            values = _read_version_5(path, wanted)
        else:
            raise _unreadable(path, f"a file that begins with {start[:16]!r}")
    except Refusal:
        raise
    except Exception as error:  # a damaged file can make its parser stumble over anything
        raise _unreadable(path, f"no readable MATLAB file ({str(error)[:80]})") from error
    sizes = {name: column.size for name, column in values.items()}
    if len(set(sizes.values())) > 1:
        raise Refusal(
            what=path.name,
            got=", ".join(f"{size} values of {name!r}" for name, size in sizes.items()),
            wanted="vectors of one length",
            remedy="save the variables at one rate of sampling, or map others",
            scope="trial",
        )
    check_rows(path.name, min(sizes.values()))
    return StoredColumns(values, lambda row: f"row {row + 1}")


def _read_version_5(path: Path, wanted: Sequence[str]) -> dict[str, FloatArray]:
    roots = list(dict.fromkeys(name.split(".")[0] for name in wanted))
    found = scipy.io.whosmat(str(path))
    shapes = {name: shape for name, shape, _ in found}
    check_columns(path.name, list(shapes), roots)
    for root in roots:
        check_size(f"{path.name}, variable {root!r}", math.prod(shapes[root]))
    if any(kind in STRUCTURES for name, _, kind in found if name in roots):
        check_structures(path)
    held = scipy.io.loadmat(str(path), variable_names=roots, squeeze_me=True, struct_as_record=False)
    return {name: _as_vector(path, name, _walk(path, held, name)) for name in wanted}


def _walk(path: Path, held: dict[str, Any], name: str) -> Any:
    root, *fields = name.split(".")
    value = held[root]
    for field in fields:
        # An array of structures holds one sample in each of its elements.
        parts = value.ravel() if isinstance(value, np.ndarray) and value.dtype == object else [value]
        found = list(getattr(parts[0], "_fieldnames", [])) if len(parts) else []
        check_columns(path.name, found, [field])
        value = (
            getattr(value, field) if parts[0] is value else np.array([getattr(part, field) for part in parts])
        )
    return value


def _read_hdf5(path: Path, wanted: Sequence[str]) -> dict[str, FloatArray]:
    try:
        import h5py
    except ImportError as error:
        raise Refusal(
            what=path.name,
            got="a MATLAB file of version 7.3, and no h5py to read it with",
            wanted="the Python package h5py, or a file of version 7",
            remedy="install h5py (pip install 'h5py>=3.11'), or save in MATLAB with the option -v7",
            scope="trial",
        ) from error
    values = {}
    with h5py.File(path, "r") as file:
        names = list(_names_of(file, h5py, set()))
        for name in wanted:
            check_columns(path.name, names, [name])
            dataset = file[name.replace(".", "/")]
            check_size(f"{path.name}, variable {name!r}", dataset.size)
            values[name] = _as_vector(path, name, dataset[()])
    return values


def _names_of(group: Any, h5py: Any, seen: set[int], above: str = "") -> Iterator[str]:
    """Names of the file's own data sets. Links to other places or files, or to a group seen before, are not followed."""
    here = h5py.h5o.get_info(group.id).addr
    if here in seen:  # links in a circle would have names without end
        return
    seen.add(here)
    for key in group:
        if not isinstance(group.get(key, getlink=True), h5py.HardLink) or key.startswith("#"):
            continue
        if isinstance(group[key], h5py.Group) and above.count(".") < 3:
            yield from _names_of(group[key], h5py, seen, f"{above}{key}.")
        elif isinstance(group[key], h5py.Dataset) and not group[key].is_virtual and not group[key].external:
            yield above + key


def _as_vector(path: Path, name: str, value: Any) -> FloatArray:
    array = np.asarray(value)
    if array.dtype.kind in "iuf" and array.size == max(array.shape, default=0):
        return array.ravel().astype(float)
    raise Refusal(
        what=f"{path.name}, variable {name!r}",
        got=f"{array.dtype.name} of size {' × '.join(map(str, array.shape)) or '1'}",
        wanted="a vector of numbers",
        remedy="map a vector; a field of a structure is written as structure.field",
        scope="trial",
    )


def _unreadable(path: Path, got: str) -> Refusal:
    return Refusal(
        what=path.name,
        got=got,
        wanted="a MATLAB file of version 5, 6, 7 or 7.3",
        remedy="save the recording again from MATLAB, or correct the kind in study.toml",
        scope="trial",
    )
