"""How deep the structures of a MATLAB file of version 5 to 7 go, told before a parser goes down into them.

After the MAT-File Format document, level 5, from memory; checked against files of scipy.io.savemat. Some kilobytes can nest
cells ten thousand times, and the compiled parser then ends the whole process without a word.
"""

from __future__ import annotations

import mmap
import struct
import zlib
from pathlib import Path

from analysis_lib.refusals import Refusal

DEEPEST = 16
"""Structures within structures; a recording has one or two."""

LARGEST_BYTES = 256_000_000
"""Of one structure, unpacked: eight channels of an hour at 1000 Hz, in double precision, are 230 MB."""

HEADER_BYTES, MATRIX, COMPRESSED = 128, 14, 15
HEAD_BYTES = 24
"""Of a variable: its tag, and what kind of array it is."""
FLAT = range(4, 16)
"""Kinds of arrays that hold text or numbers and nothing within them."""


def check_structures(path: Path) -> None:
    """Refuse a file whose structures are nested deeper than any recording's, or unpack to more than it can hold."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as held:
        order = "<" if held[126:128] == b"IM" else ">"
        at = HEADER_BYTES
        while at + 8 <= len(held):
            kind, size = struct.unpack_from(f"{order}2I", held, at)
            end = at + 8 + size
            content = _unpacked(held[at + 8 : end], order, path.name) if kind == COMPRESSED else held[at:end]
            if _depth(content, order) > DEEPEST:
                got, wanted = f"structures nested more than {DEEPEST} deep", "a structure of vectors"
                raise Refusal(path.name, got, wanted, "save the vectors themselves", scope="trial")
            at = end


def _unpacked(packed: bytes, order: str, name: str) -> bytes:
    """Unpack a structure, or of a variable that is none its head alone."""
    unpacking = zlib.decompressobj()
    head = unpacking.decompress(packed, HEAD_BYTES)
    if len(head) < HEAD_BYTES or struct.unpack_from(f"{order}I", head, 16)[0] & 0xFF in FLAT:
        return head
    content = head + unpacking.decompress(unpacking.unconsumed_tail, LARGEST_BYTES)
    if unpacking.unconsumed_tail:
        got, wanted = f"a structure of more than {LARGEST_BYTES} bytes", "at most as many"
        remedy = "cut the recording into trials, or save its vectors as variables of their own"
        raise Refusal(name, got, wanted, remedy, scope="trial")
    return content


def _depth(content: bytes, order: str) -> int:
    """Go through the elements of a variable, into each matrix and past all else, as far as is not too deep."""
    ends: list[int] = []
    at = deepest = 0
    while at + 8 <= len(content) and deepest <= DEEPEST:
        while ends and at >= ends[-1]:
            ends.pop()
        kind, size = struct.unpack_from(f"{order}2I", content, at)
        at += 8
        if kind == MATRIX:
            ends.append(at + size)
            deepest = max(deepest, len(ends))
        elif kind < 1 << 16:  # a small element holds its data within its eight bytes
            at += size + -size % 8
    return deepest
