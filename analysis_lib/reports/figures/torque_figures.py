"""Torque and crank speed against crank angle."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from analysis_lib.reports.figures.crank_circle import PALE, around, circle_panel
from analysis_lib.reports.figures.style import (
    GREY,
    LOOKS,
    crank_axis,
    in_house_style,
    legend_above,
    name_crank_axis,
    name_panel,
    new_figure,
    share_limits,
)

QUARTERS = (0, 90, 180, 270)
WORDS_DEG = np.concatenate([np.arange(quarter + 20, quarter + 71, 5) for quarter in QUARTERS])
"""Where the words at the circles may stand, which is off the spokes."""

HALF_WORD = np.array([0.1, 0.06])
"""Half the width and height of such a word with the room around it, as shares of the panel's radius."""


def draw_torque_by_angle(axes: Axes, curves: pd.DataFrame, trials: pd.DataFrame) -> None:
    """Draw torque against angle: a thin line a trial, a thick line a ring.

    ``curves`` has columns ``ring, crank_deg, torque_Nm``; ``trials`` the same and ``trial``.
    """
    axes.axhline(0, color=GREY, linewidth=0.6)
    for (ring, _), curve in trials.groupby(["ring", "trial"], sort=False):
        axes.plot(
            curve["crank_deg"], curve["torque_Nm"], color=LOOKS[str(ring)].colour, linewidth=0.4, alpha=0.6
        )
    for ring, curve in curves.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        axes.plot(
            curve["crank_deg"], curve["torque_Nm"], color=look.colour, linestyle=look.line, label=str(ring)
        )
    crank_axis(axes)


def draw_torque_around(axes: Axes, curves: pd.DataFrame, floor: float) -> None:
    """Draw the same curves around the crank, 0° on top, the zero circle away from the centre."""
    for ring, curve in curves.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        angle = np.append(curve["crank_deg"], curve["crank_deg"].iloc[0])
        torque = np.append(curve["torque_Nm"], curve["torque_Nm"].iloc[0])
        axes.plot(*around(angle, torque - floor), color=look.colour, linestyle=look.line)


def _circles(low: float, ceiling: float, reach: float) -> list[float]:
    """Return the torques that are drawn as circles, from the lowest as far as the rim leaves room."""
    last = ceiling - HALF_WORD[1] * reach
    return [float(torque) for torque in MaxNLocator(4).tick_values(low, ceiling) if low <= torque < last]


def _clear_angle(curves: pd.DataFrame, radii: np.ndarray, floor: float, reach: float) -> float:
    """Return where words at circles of these radii stand farthest from all curves of a panel."""
    drawn = np.stack(around(curves["crank_deg"].to_numpy(), curves["torque_Nm"].to_numpy() - floor), axis=-1)
    words = np.stack(around(WORDS_DEG[:, np.newaxis], radii), axis=-1)
    apart = (words[:, :, np.newaxis] - drawn[::3]) / (reach * HALF_WORD)
    return float(WORDS_DEG[np.square(apart).sum(axis=-1).min(axis=(1, 2)).argmax()])


def _draw_circle(axes: Axes, torque: float, radius: float, angle_deg: float, reach: float) -> None:
    """Draw the circle of one torque, open where its word stands."""
    half_deg = np.rad2deg(np.arctan2(HALF_WORD[0] * reach, radius))
    style: dict[str, Any] = {"linewidth": 0.4, "color": PALE} if torque else {"linewidth": 0.8, "color": GREY}
    axes.plot(*around(angle_deg + np.linspace(half_deg, 360 - half_deg, 181), radius), **style)
    word = f"{torque:g}".replace("-", "−")
    axes.text(*around(angle_deg, radius), word, fontsize=6, ha="center", va="center")


@in_house_style
def torque_panels(curves: pd.DataFrame, trials: pd.DataFrame) -> Figure:
    """Return one panel an intensity, both rings in each, same limits; columns as above and ``intensity``."""
    intensities = list(dict.fromkeys(curves["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    for axes, intensity in zip(panels, intensities, strict=True):
        draw_torque_by_angle(
            axes, curves[curves["intensity"] == intensity], trials[trials["intensity"] == intensity]
        )
        name_panel(axes, intensity)
    panels[0].set_ylabel("Torque on the crank axle (N·m)")
    share_limits(panels)
    name_crank_axis(figure)
    legend_above(figure, panels[0], "ring")
    return figure


@in_house_style
def polar_panels(curves: pd.DataFrame) -> Figure:
    """Return the polar companion of `torque_panels`."""
    intensities = list(dict.fromkeys(curves["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=66)
    ceiling, low = float(curves["torque_Nm"].max()) * 1.05, min(float(curves["torque_Nm"].min()), 0.0)
    floor = low - 0.35 * ceiling
    reach = ceiling - floor
    circles = _circles(low, ceiling, reach)
    for axes, intensity in zip(panels, intensities, strict=True):
        here = curves[curves["intensity"] == intensity]
        circle_panel(axes, reach, intensity, QUARTERS)
        angle = _clear_angle(here, np.array(circles) - floor, floor, reach)
        for torque in circles:
            _draw_circle(axes, torque, torque - floor, angle, reach)
        draw_torque_around(axes, here, floor)
    return figure


@in_house_style
def speed_panels(curves: pd.DataFrame) -> Figure:
    """Return crank speed through the turn in % of its mean, measured and predicted, one panel an intensity.

    Columns ``ring, intensity, crank_deg, measured_pct, predicted_pct``.
    """
    intensities = list(dict.fromkeys(curves["intensity"]))
    figure, panels = new_figure(1, len(intensities), height_mm=62)
    for axes, intensity in zip(panels, intensities, strict=True):
        _draw_speed(axes, curves[curves["intensity"] == intensity])
        name_panel(axes, intensity)
    panels[0].set_ylabel("Crank speed (% of its mean)")
    share_limits(panels)
    name_crank_axis(figure)
    legend_above(figure, panels[0])
    return figure


def _draw_speed(axes: Axes, curves: pd.DataFrame) -> None:
    axes.axhline(100, color=GREY, linewidth=0.6)
    for ring, curve in curves.groupby("ring", sort=False):
        look = LOOKS[str(ring)]
        measured: dict[str, Any] = {
            "color": look.colour,
            "linestyle": look.line,
            "label": f"{ring}, measured",
        }
        predicted: dict[str, Any] = {
            "color": look.colour,
            "markerfacecolor": "none",
            "label": f"{ring}, predicted",
        }
        axes.plot(curve["crank_deg"], curve["measured_pct"], **measured)
        axes.plot(
            curve["crank_deg"][7::15], curve["predicted_pct"][7::15], look.marker, markersize=3, **predicted
        )
    crank_axis(axes)


@in_house_style
def prediction_panels(curves: pd.DataFrame) -> Figure:
    """Return torque on both rings and its change, oval − round, with the predicted bands; a column an intensity.

    Columns ``intensity, crank_deg, round_Nm, oval_Nm, predicted_low_Nm, predicted_high_Nm, change_Nm,
    change_low_Nm, change_high_Nm, predicted_change_low_Nm, predicted_change_high_Nm``.
    """
    intensities = list(dict.fromkeys(curves["intensity"]))
    figure, panels = new_figure(2, len(intensities), height_mm=104)
    above, below = panels[: len(intensities)], panels[len(intensities) :]
    for upper, lower, intensity in zip(above, below, intensities, strict=True):
        curve = curves[curves["intensity"] == intensity]
        _draw_prediction(upper, curve)
        _draw_change(lower, curve)
        name_panel(upper, intensity)
    above[0].set_ylabel("Torque on the crank axle (N·m)")
    below[0].set_ylabel("Oval − round (N·m)")
    share_limits(above)
    share_limits(below)
    name_crank_axis(figure)
    legend_above(figure, above[0])
    return figure


def _draw_prediction(axes: Axes, curve: pd.DataFrame) -> None:
    _draw_band(axes, curve, "predicted", GREY, "oval, predicted")
    for ring in ("round", "oval"):
        look = LOOKS[ring]
        style: dict[str, Any] = {"color": look.colour, "linestyle": look.line, "label": f"{ring}, measured"}
        axes.plot(curve["crank_deg"], curve[f"{ring}_Nm"], linewidth=1.0, **style)
    crank_axis(axes)


def _draw_change(axes: Axes, curve: pd.DataFrame) -> None:
    axes.axhline(0, color=LOOKS["round"].colour, linewidth=0.8)
    _draw_band(axes, curve, "predicted_change", GREY)
    _draw_band(axes, curve, "change", LOOKS["oval"].colour)
    axes.plot(
        curve["crank_deg"], curve["change_Nm"], color=LOOKS["oval"].colour, linestyle=LOOKS["oval"].line
    )
    crank_axis(axes)


def _draw_band(axes: Axes, curve: pd.DataFrame, name: str, colour: str, label: str | None = None) -> None:
    low, high = curve[f"{name}_low_Nm"], curve[f"{name}_high_Nm"]
    axes.fill_between(curve["crank_deg"], low, high, color=colour, alpha=0.3, linewidth=0, label=label)
