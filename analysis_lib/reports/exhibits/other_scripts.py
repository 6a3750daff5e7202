"""A study's words in scripts that the figures' own font lacks: another installed font has them, or a sentence says so.

The figures' font has Latin, Greek, Cyrillic and signs. Any words go into labels, and of these a letter without a font would
print as an empty box without anybody being told.
"""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Iterable
from functools import cache
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.lettering import ONE_BY_ONE
from analysis_lib.study.declared.settings import StudySettings

STYLE = "analysis_lib.reports.figures.style"
SHOWN = 5
"""So many letters without a font are named."""


def letter_figures(settings: StudySettings) -> str:
    """Draw this study's words with further installed fonts where they need them; return why some letters will be boxes.

    The sentence is empty where every letter has a font.
    """
    letters = _letters_of(settings)
    if (
        not letters and STYLE not in sys.modules
    ):  # its own font does, and a run that draws nothing loads no matplotlib
        return ""
    from analysis_lib.reports.figures.style import FONT, RC

    families, boxes = _fonts_for(letters)
    RC["font.family"] = [FONT, *families]
    if not boxes:
        return ""
    warnings.filterwarnings(
        "ignore", r"Glyph \d+ .*missing from font"
    )  # the sentence says it once, for every figure
    return str(_no_font(boxes))


def _letters_of(settings: StudySettings) -> str:
    """The letters of study.toml that are no Latin, no Greek and no sign, each once, in the order of Unicode."""
    others = (ONE_BY_ONE.sub("", text) for text in _texts(settings.model_dump()))
    return "".join(sorted(set(re.sub(r"\s", "", "".join(others)))))


def _texts(value: Any) -> Iterable[str]:
    """Every text of nested settings; their keys are plain names."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list | tuple):
        for part in value.values() if isinstance(value, dict) else value:
            yield from _texts(part)


@cache
def _fonts_for(letters: str) -> tuple[tuple[str, ...], str]:
    """Return the installed fonts, by name, that add letters to the figures' own, and the letters that none has."""
    if not letters:
        return (), ""
    from matplotlib import get_data_path
    from matplotlib.font_manager import findfont, fontManager

    from analysis_lib.reports.figures.style import FONT

    left, families = set(letters) - _letters_in(findfont(FONT)), []
    for entry in sorted(fontManager.ttflist, key=lambda entry: (entry.name, entry.fname)):
        of_the_library = entry.fname.startswith(get_data_path())  # one of these has a box for every letter
        if left and entry.style == "normal" and not of_the_library and left & _letters_in(entry.fname):
            families.append(entry.name)
            left -= _letters_in(entry.fname)
    return tuple(dict.fromkeys(families)), "".join(sorted(left))


def _letters_in(file: str) -> set[str]:
    from matplotlib.font_manager import get_font

    return set(map(chr, get_font(file).get_charmap()))


def _no_font(letters: str) -> Refusal:
    more = f" and {len(letters) - SHOWN} more letters" if len(letters) > SHOWN else ""
    return Refusal(
        "figures and PDF pages",
        f"no installed font with {', '.join(letters[:SHOWN])}{more} of study.toml",
        "a font for every letter, or an empty box stands in its place",
        "install one that has them (Debian: fonts-noto-cjk for Chinese, Japanese and Korean, fonts-noto-core for most"
        " others) and report with --fresh, or write the labels in another script",
    )
