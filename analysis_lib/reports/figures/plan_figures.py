"""What a plan can show: power against riders, and riders against the spread within them."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    BLUE,
    GREY,
    INK,
    VERMILLION,
    in_house_style,
    name_panel,
    new_figure,
)


@in_house_style
def power_and_size(
    power: pd.DataFrame, sizes: pd.DataFrame, riders: int, wanted: float, sd: float, unit: str
) -> Figure:
    """Return power against riders recruited, beside riders needed against the SD within a rider.

    ``power``: ``riders, formula, simulated, se``; ``sizes``: ``within_rider_sd, difference, equivalence``.
    """
    figure, (left, right) = new_figure(1, 2, height_mm=68)
    _draw_power(left, power, riders, wanted)
    _draw_sizes(right, sizes, riders, sd, unit)
    return figure


def _draw_power(axes: Axes, power: pd.DataFrame, riders: int, wanted: float) -> None:
    axes.axhline(wanted, color=GREY, linewidth=0.7)
    axes.axvline(riders, color=GREY, linewidth=0.7, linestyle=":")
    axes.plot(power["riders"], power["formula"], color=INK, label="formula, nobody stops")
    axes.errorbar(
        power["riders"],
        power["simulated"],
        yerr=2 * power["se"],
        fmt="o",
        color=BLUE,
        capsize=2,
        label="simulated, some stop",
    )
    axes.set_ylim(0, 1.03)
    axes.set_xlabel("Riders recruited")
    axes.set_ylabel("Power for the smallest effect that matters")
    axes.legend(loc="lower right")
    name_panel(axes, "Power")


def _draw_sizes(axes: Axes, sizes: pd.DataFrame, riders: int, sd: float, unit: str) -> None:
    axes.axvline(sd, color=GREY, linewidth=0.7, linestyle=":")
    axes.axhline(riders, color=GREY, linewidth=0.7)
    for column, words, line, colour in (
        ("difference", "to find what matters", "-", INK),
        ("equivalence", "to show that nothing does", "--", VERMILLION),
    ):
        axes.plot(sizes["within_rider_sd"], sizes[column], line, color=colour, label=words)
    axes.set_ylim(0, None)
    axes.set_xlabel(f"SD within a rider ({unit})" if unit else "SD within a rider")
    axes.set_ylabel("Riders needed")
    axes.legend(loc="lower right")
    name_panel(axes, "Size")
