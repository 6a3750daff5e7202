"""The record of a run: what went in, with which versions, and what came of it."""

from __future__ import annotations

import hashlib
import json
import platform
import subprocess
import time
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

from analysis_lib.reports.files.places import PROJECT, notebooks_folder
from analysis_lib.reports.files.whole_file import write_text_whole

RECORDED_PACKAGES = (
    "numpy",
    "scipy",
    "pandas",
    "pyarrow",
    "matplotlib",
    "statsmodels",
    "pydantic",
    "papermill",
    "nbclient",
    "nbconvert",
    "ipykernel",
)

OPTIONS_WITHOUT_EFFECT = ("--cell-seconds", "--fresh", "--jobs", "--out", "--preload", "--scheduler")
"""Options that say how, where and how patiently a report is made. Recorded values would make equal reports differ."""


MOMENT_NS = 100_000_000
_SUMS: dict[Path, tuple[tuple[int, ...], str]] = {}


def sha256_of(path: Path) -> str:
    """Return the file's SHA-256 as hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def sha256_of_input(path: Path) -> str:
    """Return the SHA-256 of a file that is only read, reading it once for as long as it stays as it was.

    A run asks for each recording when it looks whether a page changed, when it makes the page and at its end. In between
    somebody may put another file in its place: inode, size and times tell. One that was written a moment ago is not
    remembered, because the clock of a file system stands still for some milliseconds.
    """
    state = path.stat()
    marks = (state.st_ino, state.st_size, state.st_mtime_ns, state.st_ctime_ns)
    known = _SUMS.get(path)
    if known is not None and known[0] == marks:
        return known[1]
    found = sha256_of(path)
    if time.time_ns() - max(marks[2:]) > MOMENT_NS:
        _SUMS[path] = (marks, found)
    return found


def checksum_if_there(path: Path) -> str:
    """Return the file's SHA-256, or 'missing' where there is none."""
    return sha256_of(path) if path.is_file() else "missing"


@cache
def package_versions() -> dict[str, str]:
    """Return the versions of Python and of the packages that results follow from."""
    versions = {name: metadata.version(name) for name in RECORDED_PACKAGES}
    return {"python": platform.python_version(), **versions}


def checksums(folder: Path, pattern: str = "**/*") -> dict[str, str]:
    """Return the SHA-256 of every file below `folder`, keyed by its path there, in sorted order."""
    files = sorted(path for path in folder.glob(pattern) if path.is_file())
    return {path.relative_to(folder).as_posix(): sha256_of(path) for path in files}


def write_run_record(
    path: Path,
    software: dict[str, Any],
    command: str,
    seed: int,
    inputs: dict[str, str],
    states: dict[str, str],
    parameters: dict[str, dict],
) -> None:
    """Write ``run.json``: no clock, no user, no host and no absolute path, so that equal runs give equal bytes.

    Parameters
    ----------
    path : Path
        The file.
    software : dict
        Program, version, git state and packages.
    command : str
        The command with every option that some byte of the report follows from.
    seed : int
        The study's seed.
    inputs : dict
        SHA-256 of every file of the study that the report reads.
    states, parameters : dict
        What became of each page, and what its notebook was given.
    """
    record = {
        **software,
        "command": command,
        "options_that_change_no_byte": list(OPTIONS_WITHOUT_EFFECT),
        "seed": seed,
        "notebooks": checksums(notebooks_folder(), "*.ipynb"),
        "parameters": parameters,
        "inputs": inputs,
        "states": states,
    }
    write_text_whole(path, json.dumps(record, indent=2, sort_keys=True, ensure_ascii=False) + "\n")


@cache
def git_state() -> str:
    """Return commit and whether the tree was changed, or 'not a git checkout'."""
    if not (PROJECT / ".git").exists():
        return "not a git checkout"
    try:
        commit = _git("rev-parse", "HEAD").strip()
        changed = _git("status", "--porcelain", "--", "analysis_lib", "notebooks").strip()
    except (OSError, subprocess.CalledProcessError):
        return "not a git checkout"
    return commit + (" with local changes" if changed else "")


def _git(*words: str) -> str:
    return subprocess.run(["git", *words], cwd=PROJECT, check=True, capture_output=True, text=True).stdout
