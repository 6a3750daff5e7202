"""An exhibit: a figure or a table together with the words that a reader needs beside it."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import TWO_COLUMNS, in_house_style
from analysis_lib.reports.numbers import format_cell, format_p, write_csv
from analysis_lib.reports.whole_file import write_bytes_whole

SVG_METADATA = {"Date": None, "Creator": None}
PNG_DPI = 150


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
        return self._drawn("svg", metadata=SVG_METADATA)

    def png(self) -> bytes:
        """Return the figure as PNG at 150 dots an inch."""
        return self._drawn("png", dpi=PNG_DPI, metadata={"Software": None})

    @in_house_style
    def _drawn(self, kind: str, **options) -> bytes:
        buffer = io.BytesIO()
        self.figure.savefig(buffer, format=kind, **options)
        return buffer.getvalue()

    def html(self) -> str:
        """Return a self-contained ``figure`` element."""
        source = base64.b64encode(self.svg()).decode("ascii")
        return (
            f'<figure class="exhibit" id="figure-{escape(self.name)}">'
            f'<img style="width:{self._share_of_page():.0f}%" alt="{escape(self.alt)}"'
            f' src="data:image/svg+xml;base64,{source}">'
            f"<figcaption>{escape(self.caption)}</figcaption></figure>"
        )

    def _share_of_page(self) -> float:
        """Width in % of the page, on which a figure of two columns fills the line."""
        return min(100.0, 100 * float(self.figure.get_figwidth()) / TWO_COLUMNS)

    def save(self, folder: Path) -> None:
        """Write SVG, PNG and the plotted numbers below `folder`."""
        write_bytes_whole(folder / f"{self.name}.svg", self.svg())
        write_bytes_whole(folder / f"{self.name}.png", self.png())
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
        """Return an HTML table with caption and scoped headings; every cell is escaped."""
        heads = "".join(f'<th scope="col">{escape(self._heading(name))}</th>' for name in self.frame.columns)
        rows = "".join(self._row(values) for values in self.frame.itertuples(index=False, name=None))
        return (
            f'<div class="table-frame"><table class="exhibit" id="table-{escape(self.name)}">'
            f"<caption>{escape(self.caption)}</caption>"
            f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        )

    def _heading(self, column: object) -> str:
        return self.headings.get(str(column), str(column).replace("_", " "))

    def _row(self, values: tuple) -> str:
        cells = [
            self._cell(str(column), value, first=position == 0)
            for position, (column, value) in enumerate(zip(self.frame.columns, values, strict=True))
        ]
        return f"<tr>{''.join(cells)}</tr>"

    def _cell(self, column: str, value: object, first: bool) -> str:
        if _holds_p(column) and isinstance(value, float):
            text = escape(format_p(value))
        else:
            text = escape(format_cell(value, self.digits.get(column)))
        if first:
            return f'<th scope="row">{text}</th>'
        numeric = ' class="number"' if isinstance(value, int | float) and not isinstance(value, bool) else ""
        return f"<td{numeric}>{text}</td>"

    def save(self, folder: Path) -> None:
        """Write the unrounded table as CSV below `folder`."""
        write_csv(folder / f"{self.name}.csv", self.frame)

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict[str, str]:
        return {"text/html": self.html(), "text/plain": self.frame.to_string(index=False)}


def _holds_p(column: str) -> bool:
    return column == "p" or column.startswith("p_") or column.endswith("_p")
