"""What pages and figures call an intensity: the label that study.toml gives it. Files keep its name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter

from analysis_lib.reports.exhibit import TableExhibit

COLUMN = "intensity"


def label_table(table: TableExhibit, labels: Mapping[str, str]) -> TableExhibit:
    """Return a table that shows labels in its column "intensity".

    >>> shown = label_table(TableExhibit("t", pd.DataFrame({"intensity": ["easy", "overall"]}), ""), {"easy": "Easy"})
    >>> list(shown.frame["intensity"])
    ['Easy', 'overall']
    """
    if COLUMN not in table.frame:
        return table
    words = [labels.get(name, name) for name in table.frame[COLUMN].astype(object)]
    return replace(
        table, frame=table.frame.assign(**{COLUMN: pd.Series(words, table.frame.index, dtype=object)})
    )


def label_figure(figure: Figure, labels: Mapping[str, str]) -> None:
    """Write labels in a figure wherever a name stands by itself: over panels, at ticks and in legends."""
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            ticks = axis.get_major_formatter()
            if isinstance(ticks, FixedFormatter):
                axis.set_major_formatter(FixedFormatter([labels.get(str(word), word) for word in ticks.seq]))
    for artist in figure.findobj(Text):
        if isinstance(artist, Text) and artist.get_text() in labels:
            artist.set_text(labels[artist.get_text()])
