"""One rider: what every period gave, and the effect under every schedule that the lot could have given."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from numpy.typing import NDArray

from analysis_lib.reports.figures.style import (
    GREEN,
    GREY,
    INK,
    LOOKS,
    in_house_style,
    label_values,
    legend_above,
    name_panel,
    new_figure,
    share_span,
)


@in_house_style
def period_values(periods: pd.DataFrame, axis_label: str) -> Figure:
    """Return one panel an intensity, a point a period: ``intensity, period, ring, value, se``; bars are ±1.96 se."""
    intensities = list(dict.fromkeys(periods["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = periods[periods["intensity"] == intensity].dropna(subset=["value"])
        axes.plot(here["period"], here["value"], color=GREY, linewidth=0.6)
        for ring, look in LOOKS.items():
            own = here[here["ring"] == ring]
            reach = 1.96 * own["se"].fillna(0.0)
            axes.errorbar(
                own["period"], own["value"], reach, fmt=look.marker, color=look.colour, capsize=2, label=ring
            )
            axes.axhline(own["value"].mean(), color=look.colour, linestyle=look.line, linewidth=0.8)
        axes.set_xticks(sorted(periods["period"].unique()))
        axes.set_xlabel("Period")
        name_panel(axes, intensity)
    share_span(panels)
    label_values(panels[0], axis_label)
    legend_above(figure, panels[0], "ring")
    return figure


@in_house_style
def schedules(effects: NDArray[np.float64], smallest_effect: float, axis_label: str) -> Figure:
    """Return the distribution of the effect over schedules with the observed one marked; the observed one comes first."""
    figure, (axes,) = new_figure(1, 1, height_mm=60)
    axes.axvspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
    axes.hist(effects, bins=min(40, max(10, len(effects) // 4)), color=GREY, edgecolor="white", linewidth=0.4)
    axes.axvline(effects[0], color=LOOKS["oval"].colour, linestyle=LOOKS["oval"].line)
    axes.axvline(0, color=INK, linewidth=0.6)
    axes.set_xlabel(axis_label)
    axes.set_ylabel("Schedules")
    return figure
