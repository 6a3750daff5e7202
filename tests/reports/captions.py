"""Captions of a page, and whether each is short enough to be read."""

import re
from html import unescape

CAPTION = re.compile(r"<(?:fig)?caption[^>]*>(.*?)</(?:fig)?caption>", re.DOTALL)

LONGEST = 66
"""Words: sixty, and a few for the names of a study's own intensities."""


def captions_of(html: str) -> list[str]:
    """Return the words of every caption."""
    return [unescape(re.sub(r"<[^>]+>", "", caption)) for caption in CAPTION.findall(html)]


def long_captions(html: str) -> list[str]:
    """Return the captions that are too long."""
    return [caption for caption in captions_of(html) if len(caption.split()) > LONGEST]
