"""What a line of a page never breaks within: a number with its sign, its unit or its per cent.

Each blank there becomes one that does not break, so a text keeps its length, and a search for "95 %" finds it as before.
"""

from __future__ import annotations

import re

NO_BREAK = "\N{NO-BREAK SPACE}"

UNITS = r"(?:W|N·m|rpm|kJ|J|Hz|bpm|mm|cm|kg|ms|s|min|h|L/min|mmol/L|°C)"
"""Units that stand after a number with a blank; the others of a study's own are words like any other."""

PATTERNS = (
    re.compile(rf"(?<=\d) (?=(?:%|{UNITS})(?![\w·]))"),
    re.compile(r"(?<=±) (?=\d)|(?<=\d) (?=± ?\d)"),
    re.compile(r"(?<=F\(\d,) (?=[\d.]+\))|(?<=F\(\d\d,) (?=[\d.]+\))"),
)
COMPARED = re.compile(r"([^\s=<>]+) ([=<>≤≥]) (?=[+−]?\d|$)")
"""What is equal to, or less than, a number that follows; or whatever follows where the text ends, such as a link."""

CODE = re.compile(r"(`[^`]*`)")


def bind(text: str) -> str:
    """Return plain text with blanks that no line breaks at within "95 %", "F(2, 9) = 3.1", "p = 0.02", "± 5" and "5 W".

    A key of a file, such as "min_turns = 20", keeps its blanks: somebody may copy it.

    >>> bind("It is small (95 % interval, n = 12, p = ").replace(NO_BREAK, "_")
    'It is small (95_% interval, n_=_12, p_=_'
    >>> bind("F(2, 9.5) = 3.1, of 5 W; min_turns = 20").replace(NO_BREAK, "~")
    'F(2,~9.5)~=~3.1, of 5~W; min_turns = 20'
    """
    for pattern in PATTERNS:
        text = pattern.sub(NO_BREAK, text)
    return COMPARED.sub(_bound, text)


def _bound(match: re.Match[str]) -> str:
    name, sign = match.groups()
    return match[0] if "_" in name else f"{name}{NO_BREAK}{sign}{NO_BREAK}"


def bind_outside_code(text: str) -> str:
    """Return Markdown with its words bound and its code left alone.

    >>> bind_outside_code("See `n = 5` and n = 5").replace(NO_BREAK, "_")
    'See `n = 5` and n_=_5'
    """
    return "".join(part if place % 2 else bind(part) for place, part in enumerate(CODE.split(text)))
