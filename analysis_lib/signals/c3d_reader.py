"""Read analogue channels of a C3D file as columns, with the extra ezc3d."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from analysis_lib.refusals import Refusal
from analysis_lib.signals.stored_columns import StoredColumns, check_columns, check_file, check_rows

SAMPLE_TIME = "sample time"
C3D_KEY = 0x50  # the second byte of every C3D file
BLOCK_BYTES = 512
MOST_FRAMES = 65535  # the header counts frames in 16 bits; of more, a reader may see only these


def read_c3d_columns(path: Path, wanted: Sequence[str]) -> StoredColumns:
    """Read analogue channels of a C3D file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : sequence of str
        Labels of analogue channels (ANALOG:LABELS), and ``"sample time"`` for the time in seconds, which a C3D
        file does not store: sample number over the analogue rate.

    Returns
    -------
    StoredColumns
        In the units of the file, ANALOG:SCALE and ANALOG:OFFSET applied; rows are counted from 1.

    Raises
    ------
    Refusal
        Missing, empty, cut or damaged file; a file of more frames than its header can count; missing channel; no
        ezc3d to read it with.
    """
    check_file(path)
    _check_is_c3d(path)
    labels, rate, analogue = _parse(path)
    check_columns(path.name, [SAMPLE_TIME, *labels], wanted)
    check_rows(path.name, analogue.shape[1])
    columns = {
        name: np.arange(analogue.shape[1]) / rate
        if name == SAMPLE_TIME
        else np.asarray(analogue[labels.index(name)], dtype=float)
        for name in wanted
    }
    return StoredColumns(columns, lambda row: f"sample {row + 1}")


def _check_is_c3d(path: Path) -> None:
    with path.open("rb") as file:
        start = file.read(2)
    blocks, key = start[0], start[-1]
    if len(start) < 2 or key != C3D_KEY or blocks * BLOCK_BYTES > path.stat().st_size:
        raise _unreadable(path, f"a file that begins with {start!r}")


def _parse(path: Path) -> tuple[list[str], float, np.ndarray]:
    """Return labels, rate (Hz) and values (channels, samples) of the analogue channels."""
    try:
        import ezc3d
    except ImportError as error:
        raise Refusal(
            what=path.name,
            got="a C3D file, and no ezc3d to read it with",
            wanted="the Python package ezc3d",
            remedy="install ezc3d (pip install 'ezc3d>=1.5.20'), or export the channels as CSV",
            scope="trial",
        ) from error
    try:
        found = ezc3d.c3d(str(path))
        analogue = found["parameters"]["ANALOG"]
        labels, rate = analogue["LABELS"]["value"], float(analogue["RATE"]["value"][0])
        values = found["data"]["analogs"][0][: len(labels)]
        if not rate > 0:
            raise ValueError(f"an analogue rate of {rate} Hz")
        frames = found["data"]["points"].shape[2]
    except Exception as error:  # a damaged file can make its parser stumble over anything
        raise _unreadable(path, f"no readable C3D file ({str(error)[:80]})") from error
    if frames == MOST_FRAMES and path.stat().st_size > 2 * BLOCK_BYTES + _largest_size(path):
        raise Refusal(
            what=path.name,
            got=f"{MOST_FRAMES} frames, the most that its header can count, and more after them",
            wanted="a file whose header counts all its frames",
            remedy="export it with more analogue samples a frame, or as CSV, or cut it into trials",
            scope="trial",
        )
    return [str(label).strip() for label in labels], rate, values


def _largest_size(path: Path) -> int:
    """Bytes up to the end of the frames that were read, if the header's words are in Intel's order."""
    with path.open("rb") as file:
        head = file.read(BLOCK_BYTES)
    points, analogue, first_block = (int.from_bytes(head[at : at + 2], "little") for at in (2, 4, 16))
    number_bytes = 4 if head[15] & 0x80 else 2  # a negative scale factor, bytes 12 to 15, says real numbers
    return (first_block - 1) * BLOCK_BYTES + MOST_FRAMES * (4 * points + analogue) * number_bytes


def _unreadable(path: Path, got: str) -> Refusal:
    return Refusal(
        what=path.name,
        got=got,
        wanted="a whole C3D file",
        remedy="copy the file from the recorder again, or correct the kind in study.toml",
        scope="trial",
    )
