"""Formulas: TeX in a notebook's own words, drawn into the page so that it needs neither a script nor an address.

JupyterLab sets the same ``$...$`` itself. Only markdown cells are read here, which are the template's words: whatever a
study says comes as output, and a dollar sign there is a dollar sign. A reader who hears the page hears a formula in words.
"""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass, field
from functools import cache
from html import escape

from analysis_lib.refusals import Refusal

FORMULA = re.compile(
    r"\$\$(?P<block>[^$]+)\$\$"
    r"|(?<![\w\\$])\$(?P<line>[^\s$](?:[^$\n]*[^\s$\\])?)\$(?![\w$])"
)
"""As JupyterLab reads it: ``$$...$$`` on its own, ``$...$`` within a line, no blank next to the inner side of a dollar."""

DRAWN_PX, PX_AN_EM = 16, 14
"""Size of the drawing, and what of it makes one em of the words around: their small letters are taller than its own."""


TOKEN = re.compile(r"\\[A-Za-z]+|\\.|\d+|\S")
SAID = {
    "+": "plus",
    "-": "minus",
    r"\varepsilon": "epsilon",
    "/": "over",
    "<": "is less than",
    "=": "equals",
    r"\,": "times",
}
"""What is not said as it is written; a thin space stands between factors."""


def spoken(tex: str) -> str:
    r"""Return a formula as it is read aloud; of TeX it knows what the notebooks need, and says other commands' names.

    >>> spoken(r"\overline{T\,\omega} = \frac{1}{S} - d_i")
    'mean of (T times omega) equals 1 over S minus d sub i'
    """
    return re.sub(r" (?=[,)])|(?<=\() ", "", _sequence(TOKEN.findall(tex)))


def _sequence(tokens: list[str]) -> str:
    words = []
    while tokens and tokens[0] != "}":
        words.append(_part(tokens))
    return " ".join(words)


def _part(tokens: list[str]) -> str:
    """Say the next part of a formula and take it away."""
    token = tokens.pop(0)
    if token == "{":
        inner = _sequence(tokens)
        tokens[:1] = []
        return inner
    if token == "_":
        return f"sub {_grouped(tokens)}"
    if token == "^":
        return f"to {_part(tokens)}"
    if token in (r"\overline", r"\bar"):
        return f"mean of {_grouped(tokens)}"
    if token == r"\hat":
        return f"{_part(tokens)} hat"
    if token == r"\frac":
        return f"{_grouped(tokens)} over {_grouped(tokens)}"
    if token == r"\mathrm":
        return _part(tokens).replace(" ", "")
    if token == r"\sum":
        return f"the sum {_part(tokens).removeprefix('sub ')} {_part(tokens)} of"
    return SAID.get(token, token.lstrip("\\"))


def _grouped(tokens: list[str]) -> str:
    words = _part(tokens)
    return f"({words})" if " " in words else words


@dataclass
class Formulas:
    """The formulas of one notebook, kept apart while its text becomes HTML."""

    pictures: list[str] = field(default_factory=list)

    def take_out(self, markdown: str) -> str:
        """Return the text with a mark in place of every formula."""
        return FORMULA.sub(self._keep, markdown)

    def put_back(self, html: str) -> str:
        """Return HTML with the pictures in place of their marks."""
        for number, picture in enumerate(self.pictures):
            html = html.replace(_mark(number), picture)
        return html

    def _keep(self, match: re.Match[str]) -> str:
        self.pictures.append(formula_picture((match["block"] or match["line"]).strip(), bool(match["block"])))
        return _mark(len(self.pictures) - 1)


def _mark(number: int) -> str:
    return f"formula-{number:03d}-stands-here"


@cache
def formula_picture(tex: str, on_its_own: bool = False) -> str:
    """Return an ``img`` element with the formula as SVG, read aloud by `spoken`, on the line of the words around it.

    Raises
    ------
    Refusal
        TeX that cannot be drawn.
    """
    import ziamath

    try:
        drawn = ziamath.Latex(tex, size=DRAWN_PX, inline=not on_its_own)
        svg = drawn.svgxml()
    except Exception as error:  # whatever the parser of TeX meets
        raise Refusal(f"formula {tex}", str(error), "TeX for mathematics", "mend the formula") from error
    height, top = float(svg.attrib["height"]), float(svg.attrib["viewBox"].split()[1])
    source = base64.b64encode(drawn.svg().encode("utf-8")).decode("ascii")
    style = f"height:{height / PX_AN_EM:.3f}em;vertical-align:{-(height + top) / PX_AN_EM:.3f}em"
    kind = "formula alone" if on_its_own else "formula"
    return f'<img class="{kind}" alt="{escape(spoken(tex))}" style="{style}" src="data:image/svg+xml;base64,{source}">'
