"""One run at a time in a report folder."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.whole_file import UNFINISHED

STAGES = "keys/first_stage"
"""Below the report folder: results that wait for their pages, while a run is at work that has a first stage."""


@contextmanager
def alone_in(report: Path) -> Iterator[None]:
    """Hold a report folder for one run, and first remove files that a killed run left half-written.

    The lock is the operating system's: it falls with the process, however that ends.

    Raises
    ------
    Refusal
        When another run is at work in the folder, or its storage has no locks.
    """
    with (report / "keys" / "format.json").open("rb") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Refusal(
                f"report folder {report.name}",
                "another run at work in it",
                "one run at a time",
                "wait for it to end, or choose another --out",
            ) from error
        except OSError as error:
            raise Refusal(
                f"report folder {report.name}",
                f"{error.strerror}, when it was to be locked",
                "storage that can lock files, so that two runs never write to one report",
                "choose another --out",
            ) from error
        for leftover in report.rglob(f"{UNFINISHED}*"):
            leftover.unlink(missing_ok=True)
        clear_stages(report)
        yield


def clear_stages(report: Path) -> None:
    """Remove every first stage of a report folder, also what a killed run left; a stranger's link, not what it leads to."""
    stages = report / STAGES
    if stages.is_symlink():
        stages.unlink()
    shutil.rmtree(stages, ignore_errors=True)
