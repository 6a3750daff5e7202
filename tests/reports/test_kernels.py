"""Kernels of a run: dead ones, endless ones, forked ones; and all of them end with the run."""

import logging
import os
import signal
import subprocess
import time
from pathlib import Path

import nbformat
import pytest

from analysis_lib.reports.execution.kernel_parent import KernelParent, imports_of, why_no_fork
from analysis_lib.reports.execution.notebook_run import RunFolder, run_notebook
from analysis_lib.reports.files.run_record import checksums

ALL_IS_WELL = """
import gc, os
print(6 * 7, os.getcwd().rsplit("/", 1)[1][:3], "looks after", gc.get_threshold()[0])
"""
KILLED = "import os, signal\nos.kill(os.getpid(), signal.SIGKILL)"
ENDLESS = "while True: pass"


def _notebook(path, *codes):
    cells = [nbformat.v4.new_markdown_cell("## Does it end?"), *map(nbformat.v4.new_code_cell, codes)]
    for number, cell in enumerate(cells):
        cell["id"] = f"cell-{number}"
    nbformat.write(nbformat.v4.new_notebook(cells=cells), path)
    return path


def _run(folder, code, source=None, cell_seconds=60, imports="import gc"):
    folder.mkdir(parents=True, exist_ok=True)
    notebook = _notebook(folder / "question.ipynb", imports, code)
    with RunFolder(folder, folder, source) as run:
        failure = run_notebook(notebook, folder / "executed.ipynb", {}, run, "question", cell_seconds)
    return failure, (folder / "executed.ipynb").read_bytes()


def test_a_kernel_does_without_what_one_notebook_does_not_need(tmp_path):
    code = """import sys
print(sys.modules["debugpy"], gc.get_freeze_count() > 50_000)"""
    _, executed = _run(tmp_path, code, imports="import gc, pandas")
    assert b"None True" in executed


def test_a_killed_kernel_fails_its_page_and_says_under_which_heading(tmp_path):
    failure, _ = _run(tmp_path, KILLED)
    assert failure.error == "DeadKernelError"
    assert failure.heading == "Does it end?"


def test_a_notebook_that_never_ends_is_stopped(tmp_path):
    began = time.monotonic()
    failure, _ = _run(tmp_path, ENDLESS, cell_seconds=2)
    assert failure.error == "CellTimeoutError"
    assert failure.heading == "Does it end?"
    assert time.monotonic() - began < 60


def _fork_or_skip():
    if why_no_fork():
        pytest.skip(why_no_fork())


def test_a_forked_kernel_gives_the_same_bytes_and_ends_with_its_parent(tmp_path):
    _fork_or_skip()
    parent = KernelParent(["import numpy"])
    failure, forked = _run(tmp_path / "forked", ALL_IS_WELL, parent)
    assert failure is None
    assert b"42 ro- looks after 200000" in forked
    assert forked == _run(tmp_path / "ordinary", ALL_IS_WELL)[1]
    assert parent._process.poll() == 0


def test_a_forked_kernel_that_dies_is_noticed_and_the_next_one_works(tmp_path):
    _fork_or_skip()
    notebooks = [_notebook(tmp_path / f"{name}.ipynb", code) for name, code in (("a", KILLED), ("b", "1"))]
    with RunFolder(tmp_path, tmp_path, KernelParent([])) as run:
        outcomes = [
            run_notebook(path, tmp_path / f"done-{path.name}", {}, run, path.stem) for path in notebooks
        ]
    assert outcomes[0].error == "DeadKernelError"
    assert outcomes[1] is None


def test_a_parent_that_holds_a_thread_forks_nothing_and_kernels_start_in_the_ordinary_way(tmp_path, capfd):
    _fork_or_skip()
    thread = "import threading, time; threading.Thread(target=time.sleep, args=(60,), daemon=True).start()"
    failure, executed = _run(tmp_path, ALL_IS_WELL, KernelParent([thread]))
    assert failure is None
    assert b"42 ro- looks after 200000" in executed
    assert "holds 2 threads" in capfd.readouterr().err


def test_a_forked_kernel_ends_when_its_parent_is_killed(tmp_path):
    _fork_or_skip()
    parent = KernelParent([])
    with RunFolder(tmp_path, tmp_path, parent) as run:
        code = "import os, signal, time\nos.kill(os.getppid(), signal.SIGKILL)\ntime.sleep(60)"
        began = time.monotonic()
        notebook = _notebook(tmp_path / "a.ipynb", code)
        failure = run_notebook(notebook, tmp_path / "done.ipynb", {}, run, "a")
    assert failure.error == "DeadKernelError"
    assert time.monotonic() - began < 40


def test_of_kernels_that_a_stopped_run_ended_nothing_is_told(tmp_path, caplog):
    logger = logging.getLogger("papermill")
    with RunFolder(tmp_path, tmp_path) as run:
        logger.error("first")
        run.kernels.end_all()
        logger.error("Kernel died while waiting for execute reply.")
    logger.error("last")
    assert [record.message for record in caplog.records] == ["first", "last"]


def test_the_parent_imports_what_the_notebooks_import(tmp_path):
    code = "import numpy as np\nfrom pathlib import Path\nnp.pi"
    notebook = _notebook(tmp_path / "a.ipynb", code)
    assert imports_of([notebook, notebook]) == ["from pathlib import Path", "import numpy as np"]


def _children(pid):
    """The processes below a process, as the kernel of the system lists them; none of one that is gone."""
    try:
        threads = list(Path(f"/proc/{pid}/task").iterdir())
        found = [int(word) for thread in threads for word in (thread / "children").read_text().split()]
    except OSError:
        return set()
    return {*found, *(grandchild for child in set(found) for grandchild in _children(child))}


def _lasting_children(pid, deadline):
    """The processes below a process that live for a second: kernels, not the short words with git before them."""
    lasting = set()
    while not lasting and time.monotonic() < deadline:
        before = _children(pid)
        time.sleep(1.0)
        lasting = before & _children(pid)
    return lasting


@pytest.mark.long
@pytest.mark.parametrize("option", [[], ["--preload"]])
def test_a_run_stopped_by_the_user_ends_its_kernels_and_the_same_command_goes_on(
    one_trial_report, tmp_path, option
):
    if not Path(f"/proc/self/task/{os.getpid()}/children").is_file():
        pytest.skip("this system does not list the children of a process")
    first = one_trial_report
    report = tmp_path / "report"
    words = first.again(report, *option)
    run = subprocess.Popen(words, stderr=subprocess.PIPE, text=True, start_new_session=True)
    kernels = _lasting_children(run.pid, time.monotonic() + 60)
    run.send_signal(signal.SIGINT)
    said = run.communicate(timeout=60)[1]
    assert run.returncode == 130
    assert "the same command goes on from there" in said and "Kernel died" not in said
    assert kernels
    assert not any(Path(f"/proc/{pid}").exists() for pid in kernels)
    assert not list(report.rglob("R01.*"))
    assert subprocess.run(words, check=False).returncode == 0
    assert checksums(report) == checksums(first.folder)
