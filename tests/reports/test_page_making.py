"""The making of pages side by side."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from analysis_lib.reports.running import page_making
from analysis_lib.reports.running.page_making import PageMaking
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
