"""A page on paper: the PDF that stands beside its HTML.

Paper pages are made by WeasyPrint, an extra of the installation that also needs the text libraries of the system
(Pango and its fellows) and a font. Where one is missing a report has HTML pages only, and says so once.
"""

from __future__ import annotations

import contextlib
import io
import logging
import re
import threading
import warnings
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.lettering import set_lettering
from analysis_lib.reports.files.whole_file import write_bytes_whole

TAGGED = "pdf/ua-1"
"""ISO 14289-1: headings, table heads and alternative texts are marked, so that a screen reader finds them."""

OUR_OWN_CONTENT = frozenset({"data"})
"""Pages are self-contained: nothing but what stands inside them is ever read, be it a file or an address."""

BLANK_BEFORE_LINK = re.compile('\N{NO-BREAK SPACE}(<a class="row"[^>]*>)')
"""Where a text that ends in such a blank ends a line, WeasyPrint breaks that line after its first word; within the link the
blank does no harm."""

_one_at_a_time = threading.Lock()  # Pango's font map is not made for two threads


@cache
def _printer() -> ModuleType | Refusal:
    """Return WeasyPrint, or the refusal that says what is missing; its own banner on standard output is held back."""
    try:
        with contextlib.redirect_stdout(io.StringIO()), warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            module = import_module("weasyprint")
    except ImportError:
        return _no_paper("the package weasyprint is not installed", "pip install 'roundoval[pdf]'")
    except OSError as error:
        missing = str(error).splitlines()[0]
        return _no_paper(
            f"a system library of weasyprint is missing ({missing})",
            "install Pango with HarfBuzz and fontconfig (Debian: libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0)",
        )
    without_fonts = any("FontConfig" in str(warning.message) for warning in warned)
    if without_fonts:  # then printing ends the whole process, with nothing but a signal
        remedy = "install one, DejaVu Sans for example (Debian: fonts-dejavu-core)"
        return _no_paper("no font is installed", remedy)
    for name in ("weasyprint", "fontTools"):  # style rules that only a screen needs are no news
        logging.getLogger(name).setLevel(logging.CRITICAL)
    return module


def _no_paper(got: str, remedy: str) -> Refusal:
    return Refusal(
        "PDF pages", got, "WeasyPrint, for a PDF beside every page", f"{remedy}; HTML pages are complete"
    )


def why_no_pdf() -> str:
    """Return in one sentence why no PDF can be made here; empty where it can."""
    printer = _printer()
    return str(printer) if isinstance(printer, Refusal) else ""


def printer_version() -> str:
    """Return the version of what makes the PDF, because its bytes follow from it; 'none' where nothing does."""
    printer = _printer()
    return "none" if isinstance(printer, Refusal) else str(printer.__version__)


def write_pdf(html_path: Path, pdf_path: Path) -> None:
    """Write the page at `html_path` as A4 pages to `pdf_path`: tagged, self-contained, without a clock.

    The same page gives the same bytes with the same versions and fonts.

    Raises
    ------
    Refusal
        Where WeasyPrint or its system libraries are missing.
    """
    printer = _printer()
    if isinstance(printer, Refusal):
        raise printer
    fetcher = printer.urls.URLFetcher(allowed_protocols=OUR_OWN_CONTENT)
    with _one_at_a_time:
        html = set_lettering(html_path.read_text(encoding="utf-8"))
        html = BLANK_BEFORE_LINK.sub("\\1\N{NO-BREAK SPACE}", html)
        page = printer.HTML(string=html, url_fetcher=fetcher)
        content = page.write_pdf(pdf_variant=TAGGED)
    write_bytes_whole(pdf_path, content)
