"""The lettering of figures on paper: text in the font of the figures, where a screen shows drawn outlines.

A figure's SVG draws every letter as an outline, so that it looks the same in every browser. Paper pages carry the font
itself: set as text, the lettering can be searched and copied, prints as sharp, is laid out sooner and makes the PDF a
third smaller. Letters stand where they stood. Where the system lacks the font, and for letters that do not simply follow
one another from left to right, the outlines stay.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from html import unescape
from pathlib import Path

PICTURE = re.compile(r'(?<="data:image/svg\+xml;base64,)[^"]+')
LINE = re.compile(
    r'<!-- (?P<words>[^\n]+) -->\s*<g(?P<style> style="[^"]*")? transform="(?P<place>[^"]*)scale\((?P<size>[\d.]+) '
    r'-(?P=size)\)">\s*(?P<outlines><defs>.*?</defs>)?(?P<letters>(?:\s*<use [^>]*/>)+)\s*</g>',
    re.DOTALL,
)
"""A line of text as matplotlib draws it: its words as a comment, outlines not met before, and one use of each."""

LETTER = re.compile(
    r'<use xlink:href="#(DejaVuSans(?:-Bold)?)-[0-9a-f]+"(?: transform="translate\(([\d.]+) 0\)")?/>'
)
ONE_BY_ONE = re.compile(
    "[ -~\u00a1-\u00ac\u00ae-\u024f\u0370-\u03ff\u2010-\u2027\u2030-\u205e\u2070-\u22ff]+"
)
"""Latin, Greek and signs: one outline a letter, from left to right."""

FONT_FILES = {"DejaVuSans.ttf", "DejaVuSans-Bold.ttf"}


def set_lettering(page: str) -> str:
    """Return a page's HTML with the lettering of its figures as text, where the system has their font."""
    return PICTURE.sub(_set_picture, page) if _has_font() else page


@cache
def _has_font() -> bool:
    from matplotlib.font_manager import findSystemFonts

    return {Path(path).name for path in findSystemFonts()} >= FONT_FILES


def _set_picture(match: re.Match[str]) -> str:
    picture = base64.b64decode(match[0]).decode("utf-8")
    return base64.b64encode(LINE.sub(set_line, picture).encode("utf-8")).decode("ascii")


def set_line(line: re.Match[str]) -> str:
    """Return one line of text of a picture as text, each letter at its place; as it was where that cannot be told."""
    letters, words = LETTER.findall(line["letters"]), unescape(line["words"])
    faces = {face for face, _ in letters}
    told = len(letters) == len(words) == line["letters"].count("<use") and len(faces) == 1
    if not (told and ONE_BY_ONE.fullmatch(words)):
        return line[0]
    places = " ".join(place or "0" for _, place in letters)
    weight = "bold" if faces == {"DejaVuSans-Bold"} else "normal"
    return (
        f'{line["outlines"] or ""}<text{line["style"] or ""} xml:space="preserve" font-family="DejaVu Sans"'
        f' font-weight="{weight}" font-size="100" x="{places}"'
        f' transform="{line["place"]}scale({line["size"]})">{line["words"]}</text>'
    )
