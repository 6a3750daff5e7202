"""Writing executed notebooks as pages, HTML and PDF, in processes of their own beside the kernels.

Pages are laid out in Python, which lets one thread of a process work at a time; where kernels work side by side, a run's
own process would be what all of them wait for. Such a process is run as ``python -m analysis_lib.reports.pages.printing``,
in a session of its own so that a key pressed in the terminal does not reach it. It reads one JSON order a line and answers
each with one line; when the run is gone, however it ended, its input ends, and it ends at once.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import queue
import subprocess
import sys
import threading
import traceback
from collections import deque
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from analysis_lib.reports.execution.notebook_run import NotebookFailure
from analysis_lib.reports.files.pdf_page import why_no_pdf
from analysis_lib.reports.pages.pages import notebook_body, write_page

HEADING = "the writing of the page"
"""Stands in the place of a notebook's heading where the notebook itself ran to its end."""


@dataclass(frozen=True)
class PageOrder:
    """What it takes to write one executed notebook as a page."""

    template: str
    notebook: str
    page: str
    title: str
    tables: str
    study: str
    home: str
    notice: str


def write_notebook_page(order: PageOrder) -> NotebookFailure | None:
    """Write the page; a fault in that is this page's.

    Raises
    ------
    OSError
        What the operating system refuses, a full disk say, is the whole run's.
    """
    try:
        body = notebook_body(Path(order.notebook), order.tables)
        write_page(Path(order.page), order.title, body, order.study, order.home, order.notice)
    except OSError:
        raise
    except Exception as error:
        trace = traceback.format_exc()
        return NotebookFailure(order.template, HEADING, type(error).__name__, str(error), trace)
    return None


class Printing:
    """Up to so many processes that write pages, each started when all others are at work."""

    def __init__(self, most: int):
        self._free = threading.Semaphore(most)
        self._idle: deque[subprocess.Popen[str]] = deque()
        self._all: list[subprocess.Popen[str]] = []
        self._beginning = threading.Lock()
        self._closed = False

    def get_ready(self) -> None:
        """Start the first process, which loads what it needs while the first notebooks run."""
        with self._beginning:
            if not self._all:
                self._idle.append(self._launch())

    def write(self, order: PageOrder) -> NotebookFailure | None:
        """Let a process write the page; one that dies in it costs this page alone.

        Raises
        ------
        OSError
            As `write_notebook_page`.
        """
        with self._free:
            answer = {} if self._closed else self._ask_any(order)
        if "refused" in answer:
            raise OSError(*answer["refused"])
        if not answer:
            return NotebookFailure(
                order.template, HEADING, "DeadProcess", "the process that wrote it died", ""
            )
        return NotebookFailure(**answer["failure"]) if answer["failure"] else None

    def _ask_any(self, order: PageOrder) -> dict[str, Any]:
        process = self._idle.pop() if self._idle else self._launch()
        if answer := _ask(process, asdict(order)):
            self._idle.append(process)
        return answer

    def close(self) -> None:
        """End all processes; a page that is being written is not finished, and no other is begun."""
        self._closed = True
        for process in self._all:
            with contextlib.suppress(OSError):
                process.stdin.close()  # type: ignore[union-attr]
            process.wait(timeout=30)

    def _launch(self) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", __name__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self._all.append(process)
        return process


def _ask(process: subprocess.Popen[str], order: dict[str, str]) -> dict[str, Any]:
    """Return the process's answer; empty when it is gone."""
    try:
        print(json.dumps(order), file=process.stdin, flush=True)
        line = process.stdout.readline()  # type: ignore[union-attr]
    except (OSError, ValueError):  # its pipes are closed
        return {}
    return json.loads(line) if line else {}


def serve() -> None:
    """Answer orders one after the other. Garbage of a page is looked for after its answer, not while it is laid out."""
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # whatever else is printed is no answer
    orders: queue.SimpleQueue[str] = queue.SimpleQueue()
    threading.Thread(target=_read, args=(orders,), daemon=True).start()
    why_no_pdf()
    gc.freeze()
    gc.disable()
    while True:
        print(json.dumps(_answer(PageOrder(**json.loads(orders.get())))), file=answers, flush=True)
        gc.collect()


def _read(orders: queue.SimpleQueue[str]) -> None:
    for line in sys.stdin:
        orders.put(line)
    os._exit(0)  # nobody is left to write for; a page half-way never gets its name


def _answer(order: PageOrder) -> dict[str, Any]:
    try:
        failure = write_notebook_page(order)
    except OSError as error:
        return {"refused": [*error.args, error.filename] if error.filename else list(error.args)}
    return {"failure": asdict(failure) if failure else None}


if __name__ == "__main__":
    serve()
