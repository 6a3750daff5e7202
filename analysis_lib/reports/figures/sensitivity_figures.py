"""One effect by many analyses, and what the analyses leave over."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    GREEN,
    GREY,
    INK,
    TWO_COLUMNS,
    in_house_style,
    label_values,
    legend_above,
    name_panel,
    new_figure,
    ring_looks,
    share_limits,
)


@in_house_style
def forest(rows: pd.DataFrame, smallest_effect: float, axis_label: str) -> Figure:
    """Return one row an analysis, the first on top; columns ``analysis, estimate, low, high``."""
    figure, (axes,) = new_figure(height_mm=14 + 8 * len(rows), width=0.75 * TWO_COLUMNS)
    axes.axvspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
    axes.axvline(0, color=GREY, linewidth=0.7)
    places = np.arange(len(rows))
    reach = [rows["estimate"] - rows["low"], rows["high"] - rows["estimate"]]
    axes.errorbar(rows["estimate"], places, xerr=reach, fmt="D", color=INK, capsize=3)
    axes.set_yticks(places, rows["analysis"])
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel(axis_label)
    return figure


@in_house_style
def residual_panels(residuals: pd.DataFrame, label: str, unit: str) -> Figure:
    """Return one panel an intensity, a column of dots a sequence and period.

    Columns ``intensity, sequence, period, ring, residual``.
    """
    intensities = list(dict.fromkeys(residuals["intensity"]))
    looks = ring_looks(list(pd.Categorical(residuals["ring"]).categories))
    columns = residuals[["sequence", "period"]].drop_duplicates().sort_values(["sequence", "period"])
    # A gap between sequences keeps them apart.
    sequences = list(dict.fromkeys(columns["sequence"]))
    places = {
        (row.sequence, row.period): place + 0.8 * sequences.index(row.sequence)
        for place, row in enumerate(columns.itertuples())
    }
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = residuals[residuals["intensity"] == intensity]
        axes.axhline(0, color=GREY, linewidth=0.7)
        for ring, dots in here.groupby("ring", sort=False):
            look = looks[str(ring)]
            x = [places[cell] for cell in zip(dots["sequence"], dots["period"], strict=True)]
            axes.plot(x, dots["residual"], look.marker, color=look.colour, markersize=3, label=str(ring))
        axes.set_xticks(list(places.values()), [str(period) for _, period in places])
        axes.set_xlabel("Period (" + " | ".join(map(str, sequences)) + ")")
        name_panel(axes, intensity)
    share_limits(panels)
    label_values(panels[0], f"{label}, residual ({unit})" if unit else f"{label}, residual")
    legend_above(figure, panels[0], "ring")
    return figure
