"""Tests that need a browser, npm or paper say what is missing, by name, and are never passed over in silence."""

import sys
import tempfile
from pathlib import Path

import pytest
from accessibility import axe_script
from browser import browser_page, require_browser
from paper import poppler, require_printer

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files import pdf_page


def _skipped(ask, *words):
    with pytest.raises(pytest.skip.Exception) as skipped:
        ask(*words)
    return str(skipped.value)


def _program(folder, name, says, code):
    """A program that says something and ends."""
    path = folder / name
    path.write_text(f"#!{sys.executable}\nimport sys\nprint({says!r}, file=sys.stderr)\nsys.exit({code})\n")
    path.chmod(0o755)
    return str(path)


def test_a_missing_browser_and_a_missing_module(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "none of chromium" in _skipped(require_browser)
    _program(tmp_path, "chromium", "", 0)
    assert "no_such_module is not installed" in _skipped(require_browser, "no_such_module")


def test_a_browser_without_a_system_library(tmp_path):
    pytest.importorskip("websocket")
    missing = "error while loading shared libraries: libnss3.so: cannot open shared object file"
    program = _program(tmp_path, "chromium", missing, 127)

    def open_page():
        with browser_page(program, "about:blank", tmp_path):
            pass

    assert "libnss3.so" in _skipped(open_page)
    program = _program(tmp_path, "chromium", "unknown option", 1)
    with pytest.raises(AssertionError, match="unknown option"):
        open_page()


def test_missing_npm_and_no_way_to_the_registry(monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "npm, which fetches axe-core" in _skipped(axe_script)
    _program(tmp_path, "npm", "ENOTFOUND", 1)
    assert "could not be fetched: ENOTFOUND" in _skipped(axe_script)


def test_missing_poppler_and_missing_printer(monkeypatch):
    monkeypatch.setenv("PATH", "")
    assert "pdfinfo of poppler is not installed" in _skipped(poppler, "pdfinfo", Path("page.pdf"))
    lacking = Refusal(
        "PDF pages", "a system library of weasyprint is missing (libpango)", "WeasyPrint", "install it"
    )
    monkeypatch.setattr(pdf_page, "_printer", lambda: lacking)
    assert "libpango" in _skipped(require_printer)
