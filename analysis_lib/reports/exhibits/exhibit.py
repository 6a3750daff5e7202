"""An exhibit: a figure or a table together with the words that a reader needs beside it."""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis_lib.reports.exhibits.numbers import FILE_DIGITS, format_cell, format_p, write_csv
from analysis_lib.reports.exhibits.table_cells import holds_p, in_words, row_keys, word_kind, wordless
from analysis_lib.reports.figures.both_files import draw_both, draw_svg
from analysis_lib.reports.figures.style import TWO_COLUMNS, in_house_style
from analysis_lib.reports.files.whole_file import write_bytes_whole

LEGIBLE_REM = 37
"""A figure of two columns is never drawn narrower than this: its lettering would be too small to read."""

NO_FORMULAS = "mathjax_ignore"
"""The class by which JupyterLab leaves dollar signs alone: those of a study's own words are no formulas."""

WIDE_COLUMNS, BROAD_COLUMNS = 8, 14
"""With more columns than these a table is set smaller on paper, or on a page turned to its long side."""

SHORT_ROWS = 4
"""Up to so many rows a table stays on one page."""

SHOWN_ROWS = 40
"""A page shows so many rows of a table; its file has them all."""

MANY_DOTS = 1500
"""Dots of one panel beyond which they are drawn as points of a picture, so that no page grows with them."""


@dataclass(frozen=True)
class FigureExhibit:
    """A drawn figure with its caption, its alternative text and the numbers drawn.

    ``name`` is the stem of its files; ``alt`` says chart type, data and finding for a reader who cannot see
    it; ``data`` holds the plotted numbers, so that a reader can redraw or check the figure.
    """

    name: str
    figure: Figure
    caption: str
    alt: str
    data: pd.DataFrame | None = field(default=None, repr=False)

    def svg(self) -> bytes:
        """Return the figure as SVG; the same figure gives the same bytes."""
        return self._both[0] if "_both" in vars(self) else self._alone

    def png(self) -> bytes:
        """Return the figure as PNG at 150 dots an inch."""
        return self._both[1]

    @cached_property
    @in_house_style
    def _both(self) -> tuple[bytes, bytes]:
        """Kept, because a page shows what the report folder holds."""
        self._spare_dots()
        return draw_both(self.figure)

    @cached_property
    @in_house_style
    def _alone(self) -> bytes:
        """The SVG where no PNG is asked for: a notebook on its own only shows it."""
        self._spare_dots()
        return draw_svg(self.figure)

    def _spare_dots(self) -> None:
        """Make a picture of the dots of panels with very many."""
        for axes in self.figure.axes:
            if _dots_in(axes) > MANY_DOTS:
                for line in axes.lines:
                    line.set_rasterized(True)

    def html(self) -> str:
        """Return a self-contained ``figure`` element."""
        source = base64.b64encode(self.svg()).decode("ascii")
        return (
            f'<figure class="exhibit {NO_FORMULAS}" id="figure-{escape(self.name)}">'
            f'<div class="picture-frame" tabindex="0" role="group" aria-label="Picture">'
            f'<img style="{self._width()}" alt="{escape(self.alt)}" src="data:image/svg+xml;base64,{source}"></div>'
            f"<figcaption>{escape(self.caption)}</figcaption></figure>"
        )

    def _width(self) -> str:
        """The share of the line that it fills, a figure of two columns all of it; on a phone its frame scrolls."""
        share = min(1.0, float(self.figure.get_figwidth()) / TWO_COLUMNS)
        return f"width:{share:.0%};min-width:{share * LEGIBLE_REM:.1f}rem"

    def save(self, folder: Path) -> None:
        """Write SVG, PNG and the plotted numbers below `folder`."""
        svg, png = self._both
        write_bytes_whole(folder / f"{self.name}.svg", svg)
        write_bytes_whole(folder / f"{self.name}.png", png)
        if self.data is not None:
            write_csv(folder / f"{self.name}.csv", self.data)

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict[str, str]:
        return {"text/html": self.html(), "text/plain": f"{self.caption}\n[{self.alt}]"}


@dataclass(frozen=True)
class TableExhibit:
    """A table with its caption; `headings` renames columns for the reader, `digits` rounds for display only.

    Columns named p, p_... or ..._p hold p values.
    """

    name: str
    frame: pd.DataFrame
    caption: str
    headings: dict[str, str] = field(default_factory=dict)
    digits: dict[str, int] = field(default_factory=dict)

    def html(self) -> str:
        """Return an HTML table with caption and scoped headings; every cell is escaped and every row has an id.

        A column of words without a word is left out, and so are the rows after the first `SHOWN_ROWS`, which is said; the
        file keeps them.
        """
        shown = self._shown.head(SHOWN_ROWS)
        heads = "".join(self._head(name) for name in shown.columns)
        values = shown.itertuples(index=False, name=None)
        rows = "".join(self._row(key, row) for key, row in zip(row_keys(self.frame), values, strict=False))
        words = f'<span class="words">{escape(self.caption + self._rest)}</span>'
        caption = f'<caption id="caption-{escape(self.name)}">{words}</caption>'
        return (
            f'<div class="table-frame {NO_FORMULAS}" tabindex="0" role="group"'
            f' aria-labelledby="caption-{escape(self.name)}">'
            f'<table class="{self._size()}" id="table-{escape(self.name)}">{caption}'
            f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        )

    @cached_property
    def _shown(self) -> pd.DataFrame:
        return self.frame.loc[:, [not wordless(values) for _, values in self.frame.items()]]

    @property
    def _rest(self) -> str:
        """Say which rows are not shown, where there are any."""
        rows = len(self.frame)
        said = f" Shown are the first {SHOWN_ROWS} of {rows} rows; a report's CSV has all."
        return said if rows > SHOWN_ROWS else ""

    @cached_property
    def _of_numbers(self) -> frozenset[str]:
        """The columns of numbers, which are set to the right; the first heads its rows and is not."""
        return frozenset(
            str(name)
            for name, values in list(self.frame.items())[1:]
            if pd.api.types.infer_dtype(values) in ("integer", "floating", "mixed-integer-float")
        )

    def _size(self) -> str:
        """The classes by which paper sets a table smaller, turns it to the page's long side or keeps it whole."""
        rows, columns = self._shown.shape
        sizes = {
            "wide": columns > WIDE_COLUMNS,
            "broad": columns > BROAD_COLUMNS,
            "short": rows <= SHORT_ROWS,
        }
        return " ".join(["exhibit", *(name for name, holds in sizes.items() if holds)])

    def _head(self, column: object) -> str:
        """A column's heading, which stands over its numbers where it has any."""
        marks = ' class="number"' if str(column) in self._of_numbers else ""
        return f'<th scope="col"{marks}>{escape(self._heading(column))}</th>'

    def _heading(self, column: object) -> str:
        return self.headings.get(str(column), in_words(str(column)))

    def _row(self, key: str, values: tuple) -> str:
        cells = [
            self._cell(str(column), value, first=position == 0)
            for position, (column, value) in enumerate(zip(self._shown.columns, values, strict=True))
        ]
        return f'<tr id="table-{escape(self.name)}--{escape(key)}">{"".join(cells)}</tr>'

    def _cell(self, column: str, value: object, first: bool) -> str:
        if holds_p(column) and isinstance(value, float):
            text = format_p(value)
        else:
            text = format_cell(value, self.digits.get(column))
        kind, marks = "number" if column in self._of_numbers else word_kind(text), ""
        if isinstance(value, int | float) and not isinstance(value, bool):
            percent = "%" if "(%" in self._heading(column) else ""
            whole = "" if isinstance(value, int) else "~"
            marks = "" if math.isnan(value) else f' data-value="{whole}{value:.{FILE_DIGITS}g}{percent}"'
        marks = (f' class="{kind}"' if kind else "") + marks
        tag, scope = ("th", ' scope="row"') if first else ("td", "")
        return f"<{tag}{scope}{marks}>{escape(text)}</{tag}>"

    def save(self, folder: Path) -> None:
        """Write the unrounded table as CSV below `folder`."""
        write_csv(folder / f"{self.name}.csv", self.frame)

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict[str, str]:
        return {"text/html": self.html(), "text/plain": self.frame.head(SHOWN_ROWS).to_string(index=False)}


def _dots_in(axes: Axes) -> int:
    """Count the dots of a panel; a curve without markers has none."""
    dotted = (line for line in axes.lines if line.get_marker() not in ("", " ", "None", None))
    return sum(np.size(line.get_xdata()) for line in dotted)
