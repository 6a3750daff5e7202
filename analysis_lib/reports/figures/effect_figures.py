"""The effect of the oval ring: riders, intensities and whole curves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import (
    GREEN,
    GREY,
    INK,
    LOOKS,
    MANY,
    ONE_COLUMN,
    RC,
    RingLook,
    in_house_style,
    in_lines,
    label_values,
    legend_above,
    name_panel,
    new_figure,
    share_span,
)
from analysis_lib.study.declared.protocol import in_brackets

ROOM_FOR_NAMES = 0.82
"""Share of a figure's width that the names below its panel may take together."""


@in_house_style
def paired_panels(cells: pd.DataFrame, label: str, unit: str) -> Figure:
    """Return one panel an intensity: each rider's round and oval mean joined; columns ``rider, intensity, round, oval``.

    Intensities lie far apart beside what a ring does, so each panel has an axis of its own, of the same span.
    """
    intensities = list(dict.fromkeys(cells["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=60)
    for axes, intensity in zip(panels, intensities, strict=True):
        _draw_slopes(axes, cells[cells["intensity"] == intensity])
        name_panel(axes, intensity)
    share_span(panels)
    label_values(panels[0], f"{label}{in_brackets(unit)}")
    return figure


def _draw_slopes(axes: Axes, cells: pd.DataFrame) -> None:
    strength = min(1.0, MANY / max(len(cells), 1))  # of very many riders the usual ones show darkest
    pairs = cells[["round", "oval"]].to_numpy(dtype=float)
    slopes: Any = np.stack([np.broadcast_to([0.0, 1.0], pairs.shape), pairs], axis=2)
    axes.add_collection(LineCollection(slopes, colors=GREY, linewidths=0.8, alpha=strength))
    for place, ring in enumerate(("round", "oval")):
        look = LOOKS[ring]
        axes.plot(np.full(len(cells), place), cells[ring], look.marker, color=look.colour)
    axes.set_xticks([0, 1], ["round", "oval"])
    axes.set_xlim(-0.3, 1.3)


@in_house_style
def effect_panel(
    effects: pd.DataFrame, contrasts: pd.DataFrame, smallest_effect: float, label: str, unit: str
) -> Figure:
    """Return the effect by intensity with the zone that does not matter shaded.

    ``effects`` has columns ``intensity, estimate, low, high, low_together, high_together`` (the last two NaN where
    there is no such interval); ``contrasts`` a row a rider and intensity with ``contrast``.
    """
    figure, (axes,) = new_figure(height_mm=70, width=ONE_COLUMN * 1.35)
    axes.axhspan(-smallest_effect, smallest_effect, color=GREEN, alpha=0.15, linewidth=0)
    axes.axhline(0, color=GREY, linewidth=0.7)
    places = np.arange(len(effects))
    for place, intensity in zip(places, effects["intensity"], strict=True):
        riders = contrasts.loc[contrasts["intensity"] == intensity, "contrast"].to_numpy()
        spread = np.linspace(-0.12, 0.12, len(riders)) if len(riders) > 1 else np.zeros(len(riders))
        axes.plot(place - 0.18 + spread, riders, ".", color=GREY, markersize=3)
    for place, low, high in zip(places, effects["low_together"], effects["high_together"], strict=True):
        axes.plot([place + 0.15] * 2, [low, high], color=INK, linewidth=0.6)
    reach = [effects["estimate"] - effects["low"], effects["high"] - effects["estimate"]]
    axes.errorbar(places + 0.15, effects["estimate"], yerr=reach, fmt="D", color=INK, capsize=3)
    room = 72 * ROOM_FOR_NAMES * figure.get_figwidth() / len(effects)
    names = [in_lines(name, room, size=RC["xtick.labelsize"]) for name in effects["intensity"]]
    axes.set_xticks(places, names)
    axes.set_xlim(-0.5, len(effects) - 0.5)
    label_values(axes, f"{label}, oval − round{in_brackets(unit)}")
    return figure


@in_house_style
def period_panels(means: pd.DataFrame, label: str, unit: str) -> Figure:
    """Return results per ring per period: mean with interval; columns ``intensity, period, ring, mean, low, high``."""
    intensities = list(dict.fromkeys(means["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=58)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = means[means["intensity"] == intensity]
        draw_periods(axes, here, LOOKS, (-0.07, 0.07))
        axes.set_xticks(sorted(here["period"].unique()))
        axes.set_xlim(here["period"].min() - 0.4, here["period"].max() + 0.4)
        name_panel(axes, intensity)
    share_span(panels)
    label_values(panels[0], f"{label}{in_brackets(unit)}")
    legend_above(figure, panels[0], "ring")
    return figure


def draw_periods(
    axes: Axes, means: pd.DataFrame, looks: Mapping[str, RingLook], shifts: Iterable[float]
) -> None:
    """Draw each ring's mean with its interval by period, the rings a little apart: ``period, ring, mean, low, high``."""
    for shift, (ring, look) in zip(shifts, looks.items(), strict=True):
        rows = means[means["ring"] == ring]
        reach = [rows["mean"] - rows["low"], rows["high"] - rows["mean"]]
        axes.errorbar(
            rows["period"] + shift,
            rows["mean"],
            yerr=reach,
            fmt=look.marker,
            color=look.colour,
            capsize=2,
            label=ring,
        )
    axes.set_xlabel("Period")
