"""A kernel that lives for one notebook: without a debugger, and seldom looking for garbage.

It is run as ``python -P -m analysis_lib.reports.execution.lean_kernel``, with the words that any IPython kernel takes.
"""

from __future__ import annotations

import gc
import sys
from typing import Any

from IPython.core.getipython import get_ipython

SELDOM = 200_000
"""Objects made before garbage is looked for; the usual 700 took a sixth of a notebook's time."""

A_LIBRARY = 100
"""Modules; a cell that loads as many has loaded libraries."""

FIRST_LINE = f"import {__name__} as lean_kernel; lean_kernel.look_seldom(); del lean_kernel"
"""What the kernel runs before its first cell."""


def do_without_debugger() -> None:
    """Keep IPython's kernel from loading its debugger, a third of its start; to be called before."""
    sys.modules.setdefault("debugpy", None)  # type: ignore[arg-type]  # Python's word for: not to be imported


def look_seldom() -> None:
    """Look for garbage after each cell, among what it left: figures are circles of objects, and grow with the riders.

    What a first cell of imports loads stays for good, and is not looked through; nor is what a preloaded parent has frozen.
    """
    gc.set_threshold(SELDOM)
    before = len(sys.modules)
    frozen = bool(gc.get_freeze_count())  # asked once: Python walks through all that is frozen to count it

    def look(_: Any) -> None:
        nonlocal frozen
        if not frozen and len(sys.modules) > before + A_LIBRARY:
            gc.freeze()
            frozen = True
        gc.collect(1)

    shell = get_ipython()
    assert shell is not None
    shell.events.register("post_run_cell", look)


def main() -> None:
    """Serve the connection file that the command line names, until ended."""
    do_without_debugger()
    from ipykernel.kernelapp import IPKernelApp

    IPKernelApp.launch_instance()


if __name__ == "__main__":
    main()
