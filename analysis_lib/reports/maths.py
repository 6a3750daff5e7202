"""Formulas: TeX in a notebook's own words, drawn into the page so that it needs neither a script nor an address.

JupyterLab sets the same ``$...$`` itself. Only markdown cells are read here, which are the template's words: whatever a
study says comes as output, and a dollar sign there is a dollar sign.
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
    """Return an ``img`` element with the formula as SVG, its TeX as alternative text, on the line of the words around it.

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
    return (
        f'<img class="{kind}" alt="{escape(tex)}" style="{style}" src="data:image/svg+xml;base64,{source}">'
    )
