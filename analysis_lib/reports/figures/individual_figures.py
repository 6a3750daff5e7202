"""Each rider's own effect, with what can be known of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    BLUE,
    GREEN,
    GREY,
    INK,
    MANY,
    TWO_COLUMNS,
    in_house_style,
    legend_above,
    new_figure,
)


@in_house_style
def rider_effects(riders: pd.DataFrame, group: float, smallest_effect: float, axis_label: str) -> Figure:
    """Return one row a rider, in the order given.

    Columns ``rider, effect, low, high`` (own replicates), ``low_pooled, high_pooled`` and ``shrunken``. The axis
    reaches as far as the pooled intervals; longer ones are cut off at its ends. More than `MANY` rows are drawn thinner
    and have no names.
    """
    rows = min(len(riders), MANY)
    thinner = rows / max(len(riders), 1)
    figure, (axes,) = new_figure(
        height_mm=22 + 5.5 * rows if rows == len(riders) else 180, width=0.75 * TWO_COLUMNS
    )
    axes.axvspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
    axes.axvline(0, color=GREY, linewidth=0.7)
    axes.axvline(group, color=BLUE, linewidth=0.9, linestyle="--", label="group")
    places = np.arange(len(riders))
    axes.hlines(
        places, riders["low_pooled"], riders["high_pooled"], color=INK, linewidth=2.2 * thinner, alpha=0.45
    )
    limits = axes.get_xlim()
    axes.hlines(places, riders["low"], riders["high"], color=GREY, linewidth=0.6 * thinner)
    size = max(4 * thinner, 1.0)
    axes.plot(riders["effect"], places, "D", color=INK, markersize=size, label="as measured")
    axes.plot(
        riders["shrunken"],
        places,
        "o",
        color=BLUE,
        markerfacecolor="white",
        markersize=size,
        label="shrunken",
    )
    axes.set_xlim(limits)
    if rows == len(riders):
        axes.set_yticks(places, riders["rider"])
    else:
        axes.set_yticks([])
        axes.set_ylabel(f"{len(riders)} riders")
    axes.set_ylim(len(riders) - 0.4, -0.6)
    axes.set_xlabel(axis_label)
    legend_above(figure, axes)
    return figure
