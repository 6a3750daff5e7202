"""Every caption of a notebook on its own is as short as those of the pages."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "tests" / "reports"))
from captions import long_captions


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item):
    """Run a cell, then read the captions among its outputs."""
    result = yield
    shown = [output.get("data", {}) for output in getattr(item, "test_outputs", None) or ()]
    assert long_captions("".join(data.get("text/html", "") for data in shown)) == []
    return result
