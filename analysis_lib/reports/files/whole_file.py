"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

UNFINISHED = ".unfinished-"
"""How files begin that are being written; whatever bears it after a run was killed is litter."""


@contextmanager
def written_whole(path: Path) -> Iterator[IO[bytes]]:
    """Open a file beside `path` for writing and, once all is written, rename it into place, making folders as needed.

    A run that is killed half-way leaves the old file or none, never half a page.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=UNFINISHED)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except BaseException as error:
        Path(beside).unlink(missing_ok=True)
        if isinstance(error, OSError) and error.filename in (None, beside):
            error.filename = str(path)  # a full disk, which names no file, or the name that nobody knows
        raise


def write_bytes_whole(path: Path, content: bytes) -> None:
    """Write `content`, whole or not at all; see `written_whole`."""
    with written_whole(path) as stream:
        stream.write(content)


def write_text_whole(path: Path, text: str) -> None:
    """Write UTF-8 text with plain line feeds, whole or not at all."""
    write_bytes_whole(path, text.encode("utf-8"))
