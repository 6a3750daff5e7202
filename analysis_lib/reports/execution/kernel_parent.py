"""A process that has already imported what the notebooks import, and forks a kernel from itself in a hundredth of the time.

It is run as ``python -m analysis_lib.reports.execution.kernel_parent IMPORT …``, one a run, in a session of its own so that
a key pressed in the terminal does not reach it. It reads one JSON request a line and answers each with one line; when the
run is gone, however it ended, its input ends, and it ends its kernels and itself. It never holds a thread or a socket
of a kernel: both would be broken in a fork, so it looks before every fork and refuses.
"""

from __future__ import annotations

import ast
import contextlib
import gc
import importlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from analysis_lib.reports.execution.kernels import NoFork
from analysis_lib.reports.execution.lean_kernel import do_without_debugger
from analysis_lib.reports.files.notebook_file import read_notebook

ALWAYS = ("ipykernel.kernelapp", "ipykernel.ipkernel", "ipykernel.debugger")
"""Beside the templates' imports: what a kernel loads itself."""

INLINE = "module://matplotlib_inline.backend_inline"
"""The drawing backend that a kernel chooses for itself, if nothing else is chosen, before matplotlib is imported."""

NO_THREAD = {"JE_ARROW_MALLOC_CONF": "background_thread:false"}
"""pyarrow's allocator starts a thread as soon as it is loaded, unless told not to."""


def why_no_fork() -> str:
    """Return in one sentence why kernels cannot be forked here; empty where they can."""
    if hasattr(os, "fork") and hasattr(os, "waitstatus_to_exitcode") and Path("/proc/self/task").is_dir():
        return ""
    return "This system cannot fork kernels safely from a preloaded parent; they are started in the ordinary way."


def imports_of(notebooks: Iterable[Path]) -> list[str]:
    """Return the import statements at the outermost level of the notebooks' code cells, each once, sorted."""
    found: set[str] = set()
    for notebook in notebooks:
        cells = [cell for cell in read_notebook(notebook).cells if cell.cell_type == "code"]
        lines = [line for cell in cells for line in ast.parse(cell.source).body]
        found |= {ast.unparse(line) for line in lines if isinstance(line, ast.Import | ast.ImportFrom)}
    return sorted(found)


class ForkedKernel:
    """A kernel that the parent forked; it is the parent's child, so the parent is asked about it."""

    stdin = stdout = stderr = None

    def __init__(self, parent: KernelParent, pid: int):
        self.parent, self.pid = parent, pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Return the exit code, or None while the kernel lives."""
        if self.returncode is None:
            self.returncode = self.parent.ask({"poll": self.pid}).get("ended")
        return self.returncode

    def wait(self) -> int | None:
        """Return the exit code of a kernel that is known to have ended."""
        return self.poll()

    def send_signal(self, number: int) -> None:
        """Send a signal to the kernel, unless it is gone: a number may be another process's by then."""
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        """End the kernel at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask the kernel to end."""
        self.send_signal(signal.SIGTERM)


class KernelParent:
    """The preloaded parent as the run sees it; it is started when kernels are about to be, at the latest with the first."""

    def __init__(self, imports: Iterable[str]):
        self._imports = list(imports)
        self._process: subprocess.Popen[str] | None = None
        self._closed = False
        self._lock = threading.Lock()

    def get_ready(self) -> None:
        """Start the parent, which imports while the run itself loads what it needs."""
        with self._lock:
            if not self._closed:
                self._launched()

    def start(self, command: list[str], environment: dict[str, str], folder: str) -> ForkedKernel:
        """Fork a kernel that serves the connection file named in Jupyter's `command`.

        Raises
        ------
        NoFork
            When the parent holds threads, or is gone.
        """
        words = command[command.index("-f") :]
        answer = self.ask({"words": words, "environment": environment, "folder": folder})
        if "pid" not in answer:
            raise NoFork(answer.get("why_not", "the preloaded parent of the kernels is gone"))
        return ForkedKernel(self, answer["pid"])

    def ask(self, request: dict[str, Any]) -> dict[str, Any]:
        """Return the parent's answer; a parent that is gone has taken its kernels with it."""
        gone = {"ended": -signal.SIGKILL}
        with self._lock:
            if self._closed:
                return gone
            process = self._launched()
            try:
                print(json.dumps(request), file=process.stdin, flush=True)
                line = process.stdout.readline()  # type: ignore[union-attr]
            except OSError:
                return gone
        return json.loads(line) if line else gone

    def close(self) -> None:
        """End the parent and with it its kernels."""
        with self._lock:
            self._closed = True
            if self._process is not None:
                with contextlib.suppress(OSError):
                    self._process.communicate(timeout=30)

    def _launched(self) -> subprocess.Popen[str]:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", __name__, *self._imports],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                start_new_session=True,
                env={"MPLBACKEND": INLINE} | os.environ | NO_THREAD,
            )
        return self._process


def serve(imports: Iterable[str]) -> None:
    """Run the import statements, then answer requests until there are no more."""
    do_without_debugger()
    for name in ALWAYS:
        importlib.import_module(name)
    for statement in imports:
        exec(statement, {})
    gc.freeze()  # no kernel need look through all this for garbage, and so take a copy of its memory
    kernels: set[int] = set()
    for line in sys.stdin:
        request = json.loads(line)
        answer = _ended(kernels, request["poll"]) if "poll" in request else _fork(kernels, request)
        print(json.dumps(answer), flush=True)
    for pid in kernels:
        os.kill(pid, signal.SIGKILL)
    for pid in kernels:
        os.waitpid(pid, 0)


def _ended(kernels: set[int], pid: int) -> dict[str, Any]:
    if pid not in kernels:
        return {"ended": -signal.SIGKILL}
    found, status = os.waitpid(pid, os.WNOHANG)
    if not found:
        return {}
    kernels.discard(pid)
    return {"ended": os.waitstatus_to_exitcode(status)}


def _fork(kernels: set[int], request: dict[str, Any]) -> dict[str, Any]:
    threads = len(os.listdir("/proc/self/task"))  # noqa: PTH208 - of this very moment, native threads too
    if threads > 1:
        return {
            "why_not": f"the preloaded parent holds {threads} threads, and a fork keeps only one; leave out --preload"
        }
    pid = os.fork()
    if pid == 0:
        _become_kernel(request)
    kernels.add(pid)
    return {"pid": pid}


def _become_kernel(request: dict[str, Any]) -> None:
    """Serve as a kernel in this fork until it is ended; never return into the parent's loop."""
    status = 1
    try:
        os.setsid()
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(2, 1)  # the pipe of answers is the parent's alone
        os.chdir(request["folder"])
        os.environ.clear()
        os.environ.update(request["environment"])
        from ipykernel.kernelapp import IPKernelApp

        watched = f"--IPKernelApp.parent_handle={os.getppid()}"  # the kernel ends when this process is gone
        IPKernelApp.launch_instance(argv=[*request["words"], watched])
        status = 0
    finally:
        os._exit(status)


if __name__ == "__main__":
    serve(sys.argv[1:])
