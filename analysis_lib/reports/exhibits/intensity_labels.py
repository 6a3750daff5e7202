"""What pages and figures call an intensity: the label that study.toml gives it. Files keep its name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import pandas as pd
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, ScalarFormatter

from analysis_lib.reports.exhibits.exhibit import TableExhibit

COLUMNS = ("intensity", "group", "first", "last", "compared")
"""Columns of tables that name intensities."""

NO_LABELS: Mapping[str, str] = {}
"""Where names are all there is."""


def call(name: object, labels: Mapping[str, str]) -> object:
    """Return a name with its label in place of every intensity; "left leg, hard" is a leg and one. Names hold no comma.

    >>> call("left leg, hard", {"hard": "Hard (RPE 16)"})
    'left leg, Hard (RPE 16)'
    """
    return ", ".join(labels.get(part, part) for part in name.split(", ")) if isinstance(name, str) else name


def label_table(table: TableExhibit, labels: Mapping[str, str]) -> TableExhibit:
    """Return a table that shows labels in its columns of intensities.

    >>> shown = label_table(TableExhibit("t", pd.DataFrame({"intensity": ["easy", "overall"]}), ""), {"easy": "Easy"})
    >>> list(shown.frame["intensity"])
    ['Easy', 'overall']
    """
    columns = {
        name: pd.Series([call(word, labels) for word in table.frame[name].astype(object)], dtype=object)
        for name in COLUMNS
        if name in table.frame
    }
    return replace(table, frame=table.frame.reset_index(drop=True).assign(**columns)) if columns else table


def label_figure(figure: Figure, labels: Mapping[str, str]) -> None:
    """Write labels in a figure wherever a name stands by itself: over panels, at ticks and in legends."""
    for axes in figure.axes:
        _label_ticks(axes.xaxis, labels)
        _label_ticks(axes.yaxis, labels)
    for words in _words_of(figure):
        if words.get_text() in labels:
            words.set_text(labels[words.get_text()])


def _words_of(figure: Figure) -> Iterator[Text]:
    """Every line of words but those at ticks; looking through all that is drawn takes longer than some drawings."""
    legends = list(figure.legends)
    yield from figure.texts
    for axes in figure.axes:
        yield from (*axes.texts, axes.title, axes.xaxis.label, axes.yaxis.label)
        legends += [legend] if (legend := axes.get_legend()) else []
    for legend in legends:
        yield from (*legend.get_texts(), legend.get_title())


def _label_ticks(axis: Axis, labels: Mapping[str, str]) -> None:
    if isinstance(axis.get_major_formatter(), ScalarFormatter):
        return  # numbers are no names
    places = list(axis.get_majorticklocs())
    words = axis.get_major_formatter().format_ticks(places)
    if any(word in labels for word in words):
        shown = {place: labels.get(word, word) for place, word in zip(places, words, strict=True)}
        axis.set_major_formatter(FuncFormatter(lambda place, _: shown.get(place, "")))
