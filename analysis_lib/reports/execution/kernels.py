"""The kernels of one run: started in the run's folder, known by process, ended together.

Jupyter asks a *kernel provisioner* to start a kernel's process. Ours starts it in the run's folder, remembers it, and,
where a run has a preloaded parent, lets that parent fork it. So a run that is stopped can end all its kernels at once.
"""

from __future__ import annotations

import asyncio
import json
import logging
import sys
import threading
import time
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path
from queue import Empty
from typing import Any, Protocol

from jupyter_client.asynchronous import AsyncKernelClient
from jupyter_client.connect import KernelConnectionInfo
from jupyter_client.provisioning.factory import KernelProvisionerFactory
from jupyter_client.provisioning.local_provisioner import LocalProvisioner
from traitlets import Unicode

from analysis_lib.reports.execution import lean_kernel

KERNEL = "python3"
PROVISIONER = "kernels-of-a-run"
TELLING = "papermill"
"""Who logs what nbclient has to say of a kernel."""

MOMENT_S, SHORT_WHILE_S = 0.01, 5.0
"""How often, and for how long, a kernel's coming and going is looked for; Jupyter looks every tenth of a second."""


class NoFork(RuntimeError):
    """A source could not start a kernel; the operating system does it instead."""


class KernelProcess(Protocol):
    """What is asked of a kernel's process."""

    pid: int

    def kill(self) -> None:
        """End it at once."""


class KernelSource(Protocol):
    """What can start kernels instead of the operating system."""

    def get_ready(self) -> None:
        """Begin with what takes long, without waiting for it."""

    def start(self, command: list[str], environment: dict[str, str], folder: str) -> Any:
        """Start one kernel and return its process."""

    def close(self) -> None:
        """End the source and every kernel that it started."""


class Kernels:
    """The kernels at work in one run, and where new ones come from: `source`, or the operating system when None."""

    def __init__(self, folder: Path, source: KernelSource | None = None):
        self.folder, self.source, self.ended = folder, source, False
        self._alive: dict[int, KernelProcess] = {}
        self._lock = threading.Lock()

    def open(self) -> None:
        """Describe the kernel to Jupyter below the run's folder, and say which run its provisioner serves."""
        described = {
            "argv": [
                sys.executable,
                "-P",
                "-m",
                lean_kernel.__name__,
                "-f",
                "{connection_file}",
                f"--IPKernelApp.exec_lines={lean_kernel.FIRST_LINE}",
            ],
            "display_name": "Python 3 (ipykernel)",
            "language": "python",
            "metadata": {
                "kernel_provisioner": {
                    "provisioner_name": PROVISIONER,
                    "config": {"run": str(self.folder)},
                },
            },
        }
        place = self.folder / "kernels" / KERNEL
        place.mkdir(parents=True)
        (place / "kernel.json").write_text(json.dumps(described), encoding="utf-8")
        entry = EntryPoint(PROVISIONER, f"{__name__}:RunKernel", KernelProvisionerFactory.GROUP_NAME)
        KernelProvisionerFactory.instance().provisioners[PROVISIONER] = entry
        _RUNS[str(self.folder)] = self
        logging.getLogger(TELLING).addFilter(self._is_told)

    def get_ready(self) -> None:
        """Let the source begin with what takes long."""
        if self.source is not None:
            self.source.get_ready()

    def close(self) -> None:
        """End every kernel and forget the run."""
        self.end_all()
        logging.getLogger(TELLING).removeFilter(self._is_told)
        _RUNS.pop(str(self.folder), None)

    def _is_told(self, _: logging.LogRecord) -> bool:
        """Whether papermill may tell of its kernels: not of those that were ended because the run was stopped."""
        return not self.ended

    def do_without_source(self, why_not: str) -> None:
        """Start kernels in the ordinary way from now on, and say once why."""
        with self._lock:
            if self.source is not None and not self.ended:
                print(f"kernels are started in the ordinary way: {why_not}", file=sys.stderr)
            self.source = None

    def add(self, process: KernelProcess) -> None:
        """Remember a kernel; one that was started while the run was being ended is ended too."""
        with self._lock:
            self._alive[process.pid] = process
            if self.ended:
                process.kill()

    def discard(self, pid: int | None) -> None:
        """Forget a kernel that is gone."""
        with self._lock:
            self._alive.pop(pid or 0, None)

    def end_all(self) -> None:
        """End every kernel at once, and any that starts from now on; its page is not made."""
        with self._lock:
            self.ended = True
            for process in self._alive.values():
                process.kill()
        if self.source is not None:
            self.source.close()


_RUNS: dict[str, Kernels] = {}
"""The runs of this process, by their folder. Jupyter makes provisioners itself, so they find their run by name."""


class RunClient(AsyncKernelClient):
    """Speaks with one kernel for a run."""

    async def wait_for_ready(self, timeout: float | None = None) -> None:
        """Wait until the kernel answers and its words arrive here.

        Jupyter's own then waits a fifth of a second for words that belong to no cell; those are passed over anyway.
        """
        late = time.monotonic() + (timeout or float("inf"))
        while time.monotonic() < late and await self._async_is_alive():
            self.kernel_info()
            try:
                await self.shell_channel.get_msg(timeout=1)
                await self.iopub_channel.get_msg(timeout=0.2)
            except Empty:
                continue
            return
        raise RuntimeError("Kernel died, or did not answer, before its first cell")


class RunKernel(LocalProvisioner):
    """Starts one kernel for a run."""

    run = Unicode().tag(config=True)

    @property
    def _kernels(self) -> Kernels:
        return _RUNS[self.run]

    async def launch_kernel(self, cmd: list[str], **options: Any) -> KernelConnectionInfo:
        """Start the kernel in the run's folder: a fork of the preloaded parent where there is one, else a new process."""
        kernels = self._kernels
        if not self._fork(cmd, options):
            await super().launch_kernel(cmd, **(options | {"cwd": str(kernels.folder)}))
        assert self.process is not None  # Jupyter's own launch leaves it behind
        kernels.add(self.process)
        # Who comes before the sockets are there tries again only after a tenth of a second or two; the heart's is the last.
        await self._look_for(Path(f"{self.connection_info['ip']}-{self.connection_info['hb_port']}").exists)
        return self.connection_info

    async def kill(self, restart: bool = False) -> None:
        """End the kernel at once; it is gone long before Jupyter looks."""
        await super().kill(restart)
        await self._look_for(lambda: False)

    async def _look_for(self, sign: Callable[[], bool]) -> None:
        """Wait a short while for a sign of the kernel, or for its end."""
        late = time.monotonic() + SHORT_WHILE_S
        while not sign() and await self.poll() is None and time.monotonic() < late:
            await asyncio.sleep(MOMENT_S)

    def _fork(self, cmd: list[str], options: dict[str, Any]) -> bool:
        """Let the run's source start the kernel; it gets no process group, because a fork takes its own only later."""
        kernels = self._kernels
        if kernels.source is None:
            return False
        try:
            self.process = kernels.source.start(cmd, options["env"], str(kernels.folder))
        except NoFork as why_not:
            kernels.do_without_source(str(why_not))
            return False
        self.pid = self.process.pid
        return True

    async def cleanup(self, restart: bool = False) -> None:
        """Forget the kernel; the run may have ended meanwhile."""
        if self.run in _RUNS:
            self._kernels.discard(self.pid)
        await super().cleanup(restart=restart)
