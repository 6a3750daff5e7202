"""The making of pages side by side."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from analysis_lib.reports.execution.notebook_run import NotebookFailure
from analysis_lib.reports.running import page_making
from analysis_lib.reports.running.page_making import PageMaking, RunStopped
from analysis_lib.reports.study.page_list import PlannedPage


@pytest.mark.parametrize(("kernels", "places"), [(1, 1), (2, 3), (4, 5)])
def test_one_page_is_written_while_others_run_but_no_more_kernels_than_asked_for(
    monkeypatch, tmp_path, kernels, places
):
    at_work, most, count = [], [], threading.Lock()

    def run(*_):
        with count:
            at_work.append(1)
            most.append(len(at_work))
        time.sleep(0.02)
        with count:
            at_work.pop()

    monkeypatch.setattr(page_making, "run_notebook", run)
    monkeypatch.setattr(page_making, "write_notebook_page", lambda _: time.sleep(0.02))
    study = SimpleNamespace(settings=SimpleNamespace(study=SimpleNamespace(name="", notice="")))
    folder = SimpleNamespace(kernels=SimpleNamespace(ended=False))
    making = PageMaking(study, tmp_path, folder, kernels=kernels)
    page = PlannedPage("a", "A", "A", "a", "03_rider_report.ipynb", {})
    assert making.places == places
    with ThreadPoolExecutor(places) as pool:
        assert all(state.made for state in pool.map(making.make, [page] * 12))
    assert max(most) == kernels


@pytest.mark.parametrize("in_time", [True, False])
def test_a_page_whose_writing_is_cut_off_by_a_stop_is_neither_made_nor_failed(monkeypatch, tmp_path, in_time):
    kernels = SimpleNamespace(ended=False, end_all=lambda: vars(kernels).update(ended=True))
    study = SimpleNamespace(settings=SimpleNamespace(study=SimpleNamespace(name="", notice="")))
    page = PlannedPage("a", "A", "A", "a", "03_rider_report.ipynb", {})
    closed = []

    def write(_):
        making.stop()
        return None if in_time else NotebookFailure("a", "", "DeadProcess", "", "")

    printing = SimpleNamespace(get_ready=lambda: None, write=write, close=lambda: closed.append(1))
    making = PageMaking(study, tmp_path, SimpleNamespace(kernels=kernels), printing=printing)
    monkeypatch.setattr(page_making, "run_notebook", lambda *_: None)
    if in_time:
        assert making.make(page).made
    else:
        with pytest.raises(RunStopped):
            making.make(page)
    assert closed and not list(tmp_path.iterdir())
