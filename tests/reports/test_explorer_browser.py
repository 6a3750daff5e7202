"""The explorer in a real browser: open the notebook, run all cells, move a slider, see the figure change."""

import shutil

import pytest
from browser import TOKEN, browser_page, notebook_server, require_browser, wait_for

from analysis_lib.reports.files.places import notebooks_folder

NAME = "08_explore.ipynb"
PICTURE = "document.querySelector('img.explorer')?.src ?? ''"
ALTERNATIVE = "document.querySelector('img.explorer')?.alt ?? ''"
STATUS = "document.querySelector('#jp-main-statusbar')?.innerText ?? ''"
HANDLE = "document.querySelector('.widget-slider .noUi-handle')"
ERRORS = "[data-mime-type='application/vnd.jupyter.error'], [data-mime-type='application/vnd.jupyter.stderr']"


@pytest.mark.browser
@pytest.mark.long
def test_moving_a_slider_changes_the_figure(tmp_path):
    program = require_browser("jupyterlab", "ipywidgets")
    folder, home = tmp_path / "notebooks", tmp_path / "home"
    folder.mkdir()
    home.mkdir()
    shutil.copy(notebooks_folder() / NAME, folder)
    with notebook_server(folder, home) as server:
        address = f"{server.address}/lab/tree/{NAME}?token={TOKEN}"
        with browser_page(program, address, home) as page:
            wait_for("an idle, connected kernel", server.kernel_waits)
            wait_for("an idle status bar", lambda: "| Idle" in page.value(STATUS))
            page.value("void window.jupyterapp.commands.execute('notebook:run-all-cells')")
            before = wait_for("the figure", lambda: page.value(PICTURE))
            assert "Axis ratio 1.13 at 70°" in page.value(ALTERNATIVE)
            wait_for("the slider", lambda: page.value(f"!!{HANDLE}"))
            page.value(f"{HANDLE}.focus()")
            page.press("ArrowRight")
            wait_for("the ring to change", lambda: "Axis ratio 1.14 at 70°" in page.value(ALTERNATIVE))
            after = page.value(PICTURE)
            assert after.startswith("data:image/png") and after != before
            assert page.value(f"document.querySelectorAll({ERRORS!r}).length") == 0
