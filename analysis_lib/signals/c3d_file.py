"""The layout of a C3D file: header, parameters, and frames of points and analogue samples.

After the C3D User Guide (C3D.org, 2008), from memory; checked against files of two independent writers.

The layout is read here because no library did all that a long recording needs: the compiled one at hand ended the whole
process on a sound file of another writer, and none maps the samples from the disk.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

BLOCK_BYTES = 512
C3D_KEY = 0x50  # the second byte of every C3D file
ORDERS = {84: "<", 86: ">"}
"""Byte orders by processor type: Intel and MIPS; 85 are the numbers of DEC machines."""
MOST_FRAMES = 65535  # the header counts frames in 16 bits
NUMBERS = {1: "i1", 2: "i2", 4: "f4"}

Parameters = dict[str, Any]


class DamagedC3d(ValueError):
    """What is not as in a C3D file."""


@dataclass(frozen=True)
class C3dFile:
    """A C3D file, its numbers still on the disk.

    Attributes
    ----------
    parameters : dict
        By ``GROUP:NAME``: list of str, or array.
    points : array of shape (frames, points, 4)
        x, y, z and residual as stored, mapped into memory.
    analogue : array of shape (frames, samples a frame, channels)
        As stored, mapped into memory.
    frame_rate_hz : float
    is_cut : bool
        Whether the file holds more frames than it says anywhere.
    """

    parameters: Parameters
    points: NDArray[Any]
    analogue: NDArray[Any]
    frame_rate_hz: float
    is_cut: bool

    def numbers(self, name: str, count: int, otherwise: float) -> NDArray[np.float64]:
        """Return a parameter's first numbers, or `otherwise` for those that are not there."""
        found = np.asarray(self.parameters.get(name, []), dtype=float).ravel()[:count]
        return np.concatenate([found, np.full(count - found.size, otherwise)])

    def labels(self, group: str, count: int) -> list[str]:
        """Return the labels of points or channels; LABELS2 and so on go on where LABELS ends."""
        parts = [self.parameters.get(f"{group}:LABELS{part or ''}", []) for part in (0, *range(2, 20))]
        return [str(label).strip() for part in parts for label in part][:count]


def open_c3d(path: Path) -> C3dFile:
    """Read header and parameters of a C3D file and map its frames into memory.

    Raises
    ------
    DamagedC3d
        What contradicts the format, in words.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(BLOCK_BYTES)
        if len(head) < BLOCK_BYTES or head[1] != C3D_KEY:
            raise DamagedC3d(f"a file that begins with {head[:2]!r}")
        file.seek((max(head[0], 1) - 1) * BLOCK_BYTES)
        start = file.read(4)
        if len(start) < 4 or start[3] not in ORDERS:
            raise DamagedC3d("parameters whose numbers are of no Intel or MIPS machine")
        section = file.read(start[2] * BLOCK_BYTES - 4)
    order = ORDERS[start[3]]
    parameters = dict(_parameters(section, order))
    return _map_frames(path, size, head, order, parameters)


def _map_frames(path: Path, size: int, head: bytes, order: str, parameters: Parameters) -> C3dFile:
    points, measures, first, last = struct.unpack_from(f"{order}4H", head, 2)
    (scale,) = struct.unpack_from(f"{order}f", head, 12)
    block, samples = struct.unpack_from(f"{order}2H", head, 16)
    (rate,) = struct.unpack_from(f"{order}f", head, 20)
    kind = "f4" if scale < 0 else "u2" if _is_unsigned(parameters) else "i2"
    channels = measures // samples if samples else 0
    a_frame = 4 * points + channels * samples
    begin = (block - 1) * BLOCK_BYTES
    if not (rate > 0 and a_frame and block > 1 and channels * samples == measures and begin < size):
        raise DamagedC3d(
            f"a header of {points} points and {measures} measures a frame at {rate:g} Hz in block {block}"
        )
    held = (size - begin) // (a_frame * np.dtype(kind).itemsize)
    told = max(_frames_told(parameters), last - first + 1)
    if held < told:
        raise DamagedC3d(f"{held} of {told} frames")
    mapped = np.memmap(path, dtype=f"{order}{kind}", mode="r", offset=begin, shape=(told, a_frame))
    # Whole blocks end a file, so that a few bytes after the last frame are no frames.
    more = (held - told) * a_frame * np.dtype(kind).itemsize >= BLOCK_BYTES
    return C3dFile(
        parameters,
        mapped[:, : 4 * points].reshape(told, points, 4),
        mapped[:, 4 * points :].reshape(told, samples, channels),
        float(rate),
        bool(more and told >= MOST_FRAMES),
    )


def _is_unsigned(parameters: Parameters) -> bool:
    return str(next(iter(parameters.get("ANALOG:FORMAT", [])), "")).strip().upper() == "UNSIGNED"


def _frames_told(parameters: Parameters) -> int:
    """Return how many frames the parameters tell beyond what 16 bits of the header can count; 0 where none does."""
    ends = [np.asarray(parameters.get(f"TRIAL:ACTUAL_{end}_FIELD", [])).ravel() for end in ("START", "END")]
    told = [0.0, *np.asarray(parameters.get("POINT:LONG_FRAMES", [])).ravel()[:1]]
    if all(end.size == 2 for end in ends):
        first, last = (int(end[0]) % 65536 + 65536 * (int(end[1]) % 65536) for end in ends)
        told.append(last - first + 1)
    return int(max(told))


def _parameters(section: bytes, order: str) -> Iterator[tuple[str, Any]]:
    """Go through the parameters: name length, group, name, step to the next, then type, dimensions and data."""
    groups: dict[int, str] = {}
    found: list[tuple[int, str, Any]] = []
    at = 0
    while at + 2 <= len(section) and section[at]:
        length, group = struct.unpack_from("bb", section, at)
        at += 2
        name = section[at : at + abs(length)].decode("latin-1").strip().upper()
        at += abs(length)
        if at + 2 > len(section):
            raise DamagedC3d("parameters that end within a name")
        (step,) = struct.unpack_from(f"{order}H", section, at)
        if group < 0:
            groups[-group] = name
        else:
            # Each parameter keeps to its own bytes, so that a forged file takes no more time than it has bytes.
            found.append((group, name, _value(section[at + 2 : at + step if step else None], order)))
        if not step:
            break
        at += step
    return ((f"{groups.get(group, group)}:{name}", value) for group, name, value in found)


def _value(content: bytes, order: str) -> Any:
    kind, dimensions = struct.unpack_from("bB", content)
    shape, data = tuple(content[2 : 2 + dimensions]), content[2 + dimensions :]
    count = math.prod(shape)
    if kind == -1:
        width = shape[0] if shape else 1
        text = data[:count].decode("latin-1")
        return [text[place : place + width] for place in range(0, len(text), width or 1)]
    if kind not in NUMBERS or count * kind > len(data):
        raise DamagedC3d(f"a parameter of type {kind} with {count} values")
    return np.frombuffer(data, dtype=f"{order}{NUMBERS[kind]}", count=count)
