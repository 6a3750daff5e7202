"""Every notebook in JupyterLab in a real browser: opened, all cells run, no error, figures and formulas drawn."""

import shutil
from pathlib import Path

import nbformat
import pytest
from browser import TOKEN, browser_page, notebook_server, require_browser, wait_for

from analysis_lib.reports.files.places import notebooks_folder

NOTEBOOKS = sorted(path.name for path in notebooks_folder().glob("*.ipynb"))
STATUS = "document.querySelector('#jp-main-statusbar')?.innerText ?? ''"
RUN_ALL = "void window.jupyterapp.commands.execute('notebook:run-all-cells')"
CELLS = "window.jupyterapp.shell.currentWidget.content.widgets.map(cell => cell.model)"
COUNTS = f"{CELLS}.filter(model => model.type == 'code').map(model => model.executionCount)"
OUTPUTS = f"{CELLS}.filter(model => model.type == 'code').flatMap(model => model.outputs.toJSON())"
FORMULAS = "document.querySelectorAll('.jp-RenderedMarkdown mjx-container').length"
OUTPUT_AREAS = "[...document.querySelectorAll('.jp-CodeCell .jp-OutputArea')]"
SHOWN = f"{OUTPUT_AREAS}.map(area => area.innerText).join(' ')"
PATIENCE_S = 180


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="module")
def server(home, tmp_path_factory):
    require_browser("jupyterlab", "ipywidgets")
    folder = tmp_path_factory.mktemp("notebooks")
    for name in NOTEBOOKS:
        shutil.copy(notebooks_folder() / name, folder)
    _dollars(folder / "dollars.ipynb")
    with notebook_server(folder, home) as running:
        yield running


def _dollars(path):
    """A notebook in which a study's own words hold dollar signs."""
    code = (
        "import pandas as pd\n"
        "from analysis_lib.reports.exhibits.exhibit import TableExhibit\n"
        "from analysis_lib.reports.exhibits.notebook_page import open_page\n"
        "page = open_page('', 'x')\n"
        "page.say('Ring A costs $90 and ring B $40.')\n"
        "page.show(TableExhibit('t', pd.DataFrame({'ring': ['$90 to $95']}), 'For $1 or $2'))"
    )
    cells = [nbformat.v4.new_markdown_cell("With $x = 1$."), nbformat.v4.new_code_cell(code)]
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    path.write_text(nbformat.writes(nbformat.v4.new_notebook(cells=cells, metadata=kernel)))


def _run(server, home, name):
    """Open a notebook in a browser of its own, run all cells and yield the page."""
    return browser_page(
        require_browser(),
        f"{server.address}/lab/workspaces/{Path(name).stem}/tree/{name}?token={TOKEN}",
        home / name,
    )


def _run_all(server, page):
    wait_for("an idle, connected kernel", server.kernel_waits)
    wait_for("an idle status bar", lambda: "| Idle" in page.value(STATUS))
    page.value(RUN_ALL)
    wait_for("every cell to be numbered", lambda: all(page.value(COUNTS) or [None]), PATIENCE_S)
    wait_for("an idle kernel", lambda: "| Idle" in page.value(STATUS), PATIENCE_S)


@pytest.fixture
def open_notebook(server, home, request):
    (home / request.param).mkdir()
    with _run(server, home, request.param) as page:
        yield page
    for kernel in server.ask("/api/kernels"):
        server.end(kernel["id"])


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("open_notebook", NOTEBOOKS, indirect=True)
def test_a_notebook_runs_from_top_to_bottom_and_draws_its_figures(server, open_notebook, request):
    name = request.node.callspec.params["open_notebook"]
    cells = nbformat.read(notebooks_folder() / name, as_version=4).cells
    _run_all(server, open_notebook)
    outputs = open_notebook.value(OUTPUTS)
    assert [output for output in outputs if output["output_type"] == "error"] == []
    assert [output["text"] for output in outputs if output.get("name") == "stderr"] == []
    html = [str(output.get("data", {}).get("text/html", "")) for output in outputs]
    figures = sum(text.count("<figure") for text in html)
    widgets = sum("application/vnd.jupyter.widget-view+json" in output.get("data", {}) for output in outputs)
    assert figures or widgets
    assert open_notebook.value(UNDRAWN) == []
    if any("$" in cell.source for cell in cells if cell.cell_type == "markdown"):
        wait_for("the formulas", lambda: open_notebook.value(FORMULAS) > 0)


UNDRAWN = """[...document.querySelectorAll('.jp-OutputArea img')].filter(
    picture => picture.complete && !picture.naturalWidth).map(picture => picture.alt)"""


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("open_notebook", ["dollars.ipynb"], indirect=True)
def test_dollars_of_a_study_are_not_taken_for_formulas(server, open_notebook):
    _run_all(server, open_notebook)
    wait_for("the formula of the text", lambda: open_notebook.value(FORMULAS) == 1)
    shown = wait_for("the output", lambda: open_notebook.value(SHOWN))
    assert "Ring A costs $90 and ring B $40." in shown
    assert "$90 to $95" in shown
    assert "For $1 or $2" in shown
    assert (
        open_notebook.value(f"{OUTPUT_AREAS}.filter(area => area.querySelector('mjx-container')).length") == 0
    )
