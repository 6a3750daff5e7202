"""Processes that write pages: the same bytes as here, faults told as here, and none that outlives the run."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest
from paper import require_printer

from analysis_lib.reports.pages.pages import notebook_body
from analysis_lib.reports.pages.printing import HEADING, PageOrder, Printing, write_notebook_page

A_RUN = """
import sys
from analysis_lib.reports.pages.printing import Printing
printing = Printing(1)
print(printing._launch().pid, flush=True)
sys.stdin.read()
"""


@pytest.fixture(scope="module")
def printing():
    one = Printing(1)
    yield one
    one.close()
    assert all(process.returncode is not None for process in one._all)


def _order(folder, words, page="page.html"):
    notebook = folder / "executed.ipynb"
    cells = [nbformat.v4.new_markdown_cell(text) for text in ("# Title", words)]
    for number, cell in enumerate(cells):
        cell["id"] = f"cell-{number}"
    nbformat.write(nbformat.v4.new_notebook(cells=cells), notebook)
    return PageOrder("a_template", str(notebook), str(folder / page), "A page", "", "A study", "", "")


def test_another_process_writes_the_same_bytes_whatever_it_wrote_before(tmp_path, printing):
    require_printer()
    written = {}
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
    order = _order(tmp_path / "there", "## What is the answer?\n\nNone.")
    assert printing.write(_order(tmp_path, "## What came before?\n\n*Another* page.")) is None
    assert printing.write(order) is None
    assert write_notebook_page(_order(tmp_path / "here", "## What is the answer?\n\nNone.")) is None
    for name in ("here", "there"):
        written[name] = [(tmp_path / name / f"page{kind}").read_bytes() for kind in (".html", ".pdf")]
    assert written["here"] == written["there"]


def test_a_fault_is_the_pages_and_what_the_system_refuses_is_the_runs(tmp_path, printing):
    formula = r"The sum is $\frac{1$."
    with pytest.raises(Exception, match="formula"):
        notebook_body(Path(_order(tmp_path, formula).notebook))
    failure = printing.write(_order(tmp_path, formula))
    assert (failure.notebook, failure.heading, failure.error) == ("a_template", HEADING, "Refusal")
    assert "mend the formula" in failure.cause
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(FileExistsError, match="file"):
        printing.write(_order(tmp_path, "Words.", "file/page.html"))


def test_a_process_that_dies_costs_one_page(tmp_path, printing):
    order = _order(tmp_path, "Words.")
    printing.get_ready()
    os.kill(printing._idle[-1].pid, signal.SIGKILL)
    assert "died" in printing.write(order).cause
    assert printing.write(order) is None


def test_a_run_that_is_killed_leaves_no_process_behind():
    run = subprocess.Popen(
        [sys.executable, "-c", A_RUN], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    pid = int(run.stdout.readline())
    run.kill()
    run.communicate()
    deadline = time.monotonic() + 20
    while _lives(pid) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not _lives(pid)


def _lives(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not (state.is_file() and state.read_text().rpartition(") ")[2].startswith("Z"))


def test_notebooks_are_read_without_the_grammars_of_international_addresses():
    """They would take a second of every process; whoever wants them later still gets them."""
    code = (
        "import sys; from analysis_lib.reports.files.notebook_file import ADDRESSES, load_nbformat; load_nbformat();"
        " import nbconvert, papermill; assert 'jsonschema' in sys.modules; print(ADDRESSES in sys.modules);"
        " __import__(ADDRESSES); print(ADDRESSES in sys.modules)"
    )
    pytest.importorskip("rfc3987_syntax")
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.split() == ["False", "True"]
