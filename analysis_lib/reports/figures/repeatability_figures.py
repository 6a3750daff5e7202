"""Repeats of one quantity: differences against means, and means against turns."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    GREEN,
    GREY,
    INK,
    LOOKS,
    ONE_COLUMN,
    in_house_style,
    legend_above,
    name_panel,
    new_figure,
    share_limits,
)
from analysis_lib.statistics.agreement import Agreement


@in_house_style
def agreement_plot(
    pairs: pd.DataFrame, agreement: Agreement, axis_label: str, unit: str, difference: str = "First − second"
) -> Figure:
    """Return differences against means with bias and limits; columns ``mean, difference, ring``."""
    figure, (axes,) = new_figure(height_mm=75, width=1.5 * ONE_COLUMN)
    axes.axhline(0, color=GREY, linewidth=0.6)
    for value, bounds, line in (
        (agreement.bias, agreement.bias_interval, "-"),
        (agreement.lower, agreement.lower_interval, "--"),
        (agreement.upper, agreement.upper_interval, "--"),
    ):
        axes.axhspan(bounds.low, bounds.high, color=GREY, alpha=0.15, linewidth=0)
        axes.axhline(value, color=INK, linestyle=line, linewidth=1)
    for ring, dots in pairs.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        axes.plot(
            dots["mean"], dots["difference"], look.marker, color=look.colour, markersize=3, label=str(ring)
        )
    axes.set_xlabel(axis_label)
    axes.set_ylabel(f"{difference} ({unit})" if unit else difference)
    legend_above(figure, axes, "ring")
    return figure


@in_house_style
def mean_against_turns(means: pd.DataFrame, unit: str) -> Figure:
    """Return one panel an intensity: ``intensity, turns, away, error``, the error shaded around 0."""
    intensities = list(dict.fromkeys(means["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=58)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = means[means["intensity"] == intensity]
        error = float(here["error"].iloc[0])
        axes.axhspan(-error, error, color=GREEN, alpha=0.15, linewidth=0)
        axes.axhline(0, color=GREY, linewidth=0.7)
        axes.plot(here["turns"], here["away"], color=INK)
        axes.set_xlabel("Turns so far")
        name_panel(axes, intensity)
    share_limits(panels)
    panels[0].set_ylabel(f"Away from the mean ({unit})" if unit else "Away from the mean")
    return figure


@in_house_style
def meter_limits(rows: pd.DataFrame) -> Figure:
    """Return bias and limits of meters against readings a turn, by ring.

    Columns ``ring, sectors, bias, lower, upper``.
    """
    figure, (axes,) = new_figure(height_mm=66, width=1.35 * ONE_COLUMN)
    axes.axhline(0, color=GREY, linewidth=0.7)
    counts = list(dict.fromkeys(rows["sectors"]))
    for shift, (ring, here) in zip((-0.09, 0.09), rows.groupby("ring", sort=False), strict=False):
        look = LOOKS[str(ring)]
        places = [counts.index(count) + shift for count in here["sectors"]]
        reach = [here["bias"] - here["lower"], here["upper"] - here["bias"]]
        axes.errorbar(
            places, here["bias"], yerr=reach, fmt=look.marker, color=look.colour, capsize=2, label=ring
        )
    axes.set_xticks(range(len(counts)), [str(count) for count in counts])
    axes.set_xlabel("Speed readings a turn")
    axes.set_ylabel("Meter − measured power (W)")
    legend_above(figure, axes, "ring")
    return figure
