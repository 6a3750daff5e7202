"""Several rings: against the round one, from ring to ring, from period to period."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis_lib.reports.figures.effect_figures import draw_periods
from analysis_lib.reports.figures.style import (
    GREEN,
    GREY,
    INK,
    in_house_style,
    label_values,
    legend_above,
    name_panel,
    new_figure,
    ring_looks,
    share_limits,
    share_span,
)


@in_house_style
def rings_panels(
    effects: pd.DataFrame, contrasts: pd.DataFrame, smallest_effect: float, axis_label: str
) -> Figure:
    """Return one panel an intensity: each ring's difference with its interval, beside the riders' own.

    ``effects``: ``intensity, ring, estimate, low, high``; ``contrasts``: ``intensity, ring, contrast``.
    """
    intensities = list(dict.fromkeys(effects["intensity"]))
    rings = list(dict.fromkeys(effects["ring"]))
    looks = ring_looks(rings)
    figure, panels = new_figure(1, len(intensities), height_mm=66)
    for axes, intensity in zip(panels, intensities, strict=True):
        axes.axhspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
        axes.axhline(0, color=GREY, linewidth=0.7)
        here = effects[effects["intensity"] == intensity].set_index("ring")
        own = contrasts[contrasts["intensity"] == intensity]
        for place, ring in enumerate(rings):
            dots = own.loc[own["ring"] == ring, "contrast"].to_numpy()
            axes.plot(place - 0.15 + _spread(len(dots)), dots, ".", color=GREY, markersize=3)
            row = here.loc[ring]
            reach = np.array([[row["estimate"] - row["low"]], [row["high"] - row["estimate"]]])
            look = looks[ring]
            axes.errorbar(
                place + 0.18, row["estimate"], yerr=reach, fmt=look.marker, color=look.colour, capsize=3
            )
        _name_rings(axes, rings)
        name_panel(axes, intensity)
    share_limits(panels)
    label_values(panels[0], axis_label)
    return figure


@in_house_style
def ring_trajectories(cells: pd.DataFrame, rings: list[str], axis_label: str) -> Figure:
    """Return one panel an intensity, a line a rider from ring to ring: ``intensity, rider, ring, value``."""
    intensities = list(dict.fromkeys(cells["intensity"]))
    looks = ring_looks(rings)
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = cells[cells["intensity"] == intensity]
        wide = here.pivot_table(index="rider", columns="ring", values="value").reindex(columns=rings)
        for line in wide.to_numpy(dtype=float):
            axes.plot(range(len(rings)), line, color=GREY, linewidth=0.8)
        for place, ring in enumerate(rings):
            look = looks[ring]
            axes.plot(np.full(len(wide), place), wide[ring], look.marker, color=look.colour)
        _name_rings(axes, rings)
        name_panel(axes, intensity)
    share_span(panels)
    label_values(panels[0], axis_label)
    return figure


@in_house_style
def ring_periods(means: pd.DataFrame, rings: list[str], axis_label: str) -> Figure:
    """Return results per ring per period: ``intensity, period, ring, mean, low, high``."""
    intensities = list(dict.fromkeys(means["intensity"]))
    looks = ring_looks(rings)
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    shifts = np.linspace(-0.2, 0.2, len(rings))
    for axes, intensity in zip(panels, intensities, strict=True):
        draw_periods(axes, means[means["intensity"] == intensity], looks, shifts)
        axes.set_xticks(sorted(means["period"].unique()))
        name_panel(axes, intensity)
    share_span(panels)
    label_values(panels[0], axis_label)
    legend_above(figure, panels[0], "ring")
    return figure


@in_house_style
def rings_forest(rows: pd.DataFrame, smallest_effect: float, axis_label: str) -> Figure:
    """Return one panel a ring, an analysis a line: ``ring, analysis, estimate, low, high``."""
    rings = list(dict.fromkeys(rows["ring"]))
    analyses = list(dict.fromkeys(rows["analysis"]))
    figure, panels = new_figure(1, len(rings), height_mm=24 + 8 * len(analyses), sharex=True, sharey=True)
    for axes, ring in zip(panels, rings, strict=True):
        here = rows[rows["ring"] == ring]
        places = [analyses.index(name) for name in here["analysis"]]
        axes.axvspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
        axes.axvline(0, color=GREY, linewidth=0.7)
        reach = [here["estimate"] - here["low"], here["high"] - here["estimate"]]
        axes.errorbar(here["estimate"], places, xerr=reach, fmt="D", color=INK, capsize=3)
        axes.set_yticks(range(len(analyses)), analyses)
        axes.set_ylim(len(analyses) - 0.5, -0.5)
        name_panel(axes, ring)
    figure.supxlabel(axis_label, fontsize=7.5)
    return figure


def _spread(count: int) -> np.ndarray:
    return np.linspace(-0.12, 0.12, count) if count > 1 else np.zeros(count)


def _name_rings(axes: Axes, rings: list[str]) -> None:
    axes.set_xticks(range(len(rings)), rings)
    axes.set_xlim(-0.5, len(rings) - 0.5)
