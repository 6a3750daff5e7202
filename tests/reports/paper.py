"""What stands on a paper page, read with poppler, which is no part of the project."""

import re
import shutil
import subprocess

import pytest

from analysis_lib.reports.files import pdf_page

A4_POINTS = (595.28, 841.89)  # ISO 216: 210 mm × 297 mm, at 72 points an inch
MARGIN_POINTS, TOP_POINTS = 15 / 25.4 * 72, 19 / 25.4 * 72
WORD = re.compile(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>')
PAGE = re.compile(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', re.DOTALL)


def require_printer():
    """Skip the test, by name of what is absent, where no PDF can be made."""
    if pdf_page.why_no_pdf():
        pytest.skip(pdf_page.why_no_pdf())


def poppler(program, *words):
    """The output of one of poppler's programs."""
    if shutil.which(program) is None:
        pytest.skip(f"{program} of poppler is not installed")
    return subprocess.run([program, *map(str, words)], check=True, capture_output=True, text=True).stdout


def paper_pages(pdf):
    """Width, height and words of every page, as (x0, y0, x1, y1, text) in points."""
    text = poppler("pdftotext", "-bbox", pdf, "-")
    return [
        (float(width), float(height), [(*map(float, word[:4]), word[4]) for word in WORD.findall(inside)])
        for width, height, inside in PAGE.findall(text)
    ]
