"""Where an oval ring would sit: torque phases and available mounts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Wedge

from analysis_lib.reports.figures.crank_circle import around, circle_panel
from analysis_lib.reports.figures.style import (
    BLUE,
    GREEN,
    GREY,
    INK,
    MANY,
    TWO_COLUMNS,
    even_grid,
    in_house_style,
    name_panel,
    new_figure,
)

ROSES_A_ROW, ROSE_MM = 3, 76
PETAL_EDGES = np.arange(0, 181, 10)

DOT_DEG, DOT_STEP = 3.6, 0.075
"""How far apart a rose's dots must be not to touch, and from row to row, in shares of the largest petal."""


@in_house_style
def mounting_panels(phases: pd.DataFrame, mounts: pd.DataFrame) -> Figure:
    """Return the mount that each intensity asks for beside how probable each available mount is to be the nearest.

    ``phases``: ``intensity, mount_deg, low_deg, high_deg``, unwrapped to one stretch of the axis; ``mounts``:
    ``mount_deg`` (on the same stretch) and ``probability``. A single mount has nothing beside it.
    """
    if len(mounts) == 1:
        figure, (axes,) = new_figure(height_mm=58)
        _draw_phases(axes, phases, mounts)
        return figure
    figure, (left, right) = new_figure(1, 2, height_mm=58, width_ratios=[1.5, 1])
    _draw_phases(left, phases, mounts)
    _draw_probabilities(right, mounts)
    return figure


@in_house_style
def criteria_panels(curves: pd.DataFrame, mounts: pd.DataFrame, labels: dict[str, str]) -> Figure:
    """Return one panel a criterion: loss over mount angle, its flat zone, and the available mounts.

    ``curves``: ``criterion, mount_deg, loss, low, high, flat``; ``mounts``: ``criterion, mount_deg, loss,
    will_do``; ``labels``: criterion to axis label.
    """
    criteria = list(dict.fromkeys(curves["criterion"]))
    figure, panels = new_figure(-(-len(criteria) // 2), 2, height_mm=96, sharex=True)
    for axes, criterion in zip(panels, criteria, strict=False):
        _draw_criterion(
            axes, curves[curves["criterion"] == criterion], mounts[mounts["criterion"] == criterion]
        )
        axes.set_ylabel(labels[criterion])
        name_panel(axes, criterion)
    figure.supxlabel("Mount angle, crank to major axis (deg)", fontsize=7.5)
    return figure


def _draw_criterion(axes: Axes, curve: pd.DataFrame, mounts: pd.DataFrame) -> None:
    flat = curve["flat"].to_numpy()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        angles = curve["mount_deg"].to_numpy()[first:last]
        axes.axvspan(angles[0] - 0.5, angles[-1] + 0.5, color=GREEN, alpha=0.15, linewidth=0)
    axes.fill_between(curve["mount_deg"], curve["low"], curve["high"], color=BLUE, alpha=0.3, linewidth=0)
    axes.plot(curve["mount_deg"], curve["loss"], color=BLUE)
    for will_do, face in ((True, INK), (False, "white")):
        here = mounts[mounts["will_do"] == will_do]
        axes.plot(here["mount_deg"], here["loss"], "s", color=INK, markerfacecolor=face)
    axes.set_xlim(-4, 184)
    axes.set_xticks(np.arange(0, 181, 30))


def _draw_phases(axes: Axes, phases: pd.DataFrame, mounts: pd.DataFrame) -> None:
    for mount in mounts["mount_deg"]:
        axes.axvline(mount, color=GREY, linewidth=0.8, linestyle=":")
    rows = np.arange(len(phases))[::-1]
    reach = [phases["mount_deg"] - phases["low_deg"], phases["high_deg"] - phases["mount_deg"]]
    axes.errorbar(phases["mount_deg"], rows, xerr=reach, fmt="D", color=INK, capsize=3)
    axes.set_yticks(rows, phases["intensity"])
    axes.set_ylim(-0.6, len(phases) - 0.4)
    axes.set_xlabel("Mount angle, crank to major axis (deg)")
    name_panel(axes, f"wanted mount; dotted: {'available mounts' if len(mounts) > 1 else 'the only mount'}")


def _draw_probabilities(axes: Axes, mounts: pd.DataFrame) -> None:
    places = np.arange(len(mounts))
    axes.bar(places, mounts["probability"], color=BLUE, width=0.6)
    axes.set_xticks(places, [f"{mount % 180:.4g}°" for mount in mounts["mount_deg"]])
    axes.set_ylim(0, 1)
    axes.set_xlabel("Available mount")
    axes.set_ylabel("Probability of being nearest")


@dataclass(frozen=True)
class Rose:
    """Torque phases of one panel, degrees in [0, 180), with their axial mean and its interval."""

    name: str
    phases_deg: np.ndarray
    mean_deg: float
    low_deg: float
    high_deg: float

    @property
    def petals(self) -> np.ndarray:
        """Lengths of the petals, one every ten degrees: their areas are proportional to the counts."""
        return np.sqrt(np.histogram(np.mod(self.phases_deg, 180), PETAL_EDGES)[0])

    @property
    def dots_deg(self) -> np.ndarray:
        """Where the dots stand: one a rider, none where there are many."""
        return np.mod(self.phases_deg, 180) if len(self.phases_deg) <= MANY else np.zeros(0)


@in_house_style
def phase_roses(roses: Sequence[Rose]) -> Figure:
    """Return half-circle roses of torque phases side by side, one panel an intensity, petals to one scale.

    Dots of riders with like phases stand behind one another, from the petals outward; more than `MANY` have none.
    """
    rows, columns = even_grid(len(roses), ROSES_A_ROW)
    figure, panels = new_figure(rows, columns, ROSE_MM * rows, TWO_COLUMNS * columns / ROSES_A_ROW)
    reach = max(1.0, *(rose.petals.max(initial=0) for rose in roses))
    most = max(stack_dots(rose.dots_deg, DOT_DEG).max(initial=0) for rose in roses)
    for axes, rose in zip(panels, roses, strict=False):
        _draw_rose(axes, rose, reach, rim=reach * (1.12 + DOT_STEP * (most + 1.2)))
    for spare in panels[len(roses) :]:
        spare.remove()
    figure.supxlabel("Torque phase (deg of right crank, axial)", fontsize="medium")
    return figure


def _draw_rose(axes: Axes, rose: Rose, reach: float, rim: float) -> None:
    circle_panel(axes, rim + 0.08 * reach, rose.name, range(0, 181, 30), half=True)
    for begin, radius in zip(PETAL_EDGES[:-1], rose.petals, strict=True):
        if radius:
            petal = Wedge((0, 0), radius, 80 - begin, 90 - begin, facecolor=BLUE, edgecolor=BLUE, alpha=0.45)
            axes.add_patch(petal)
    rows = stack_dots(rose.dots_deg, DOT_DEG)
    axes.plot(*around(rose.dots_deg, reach * (1.12 + DOT_STEP * rows)), "o", color=INK, markersize=2.5)
    axes.plot(*around(_within_half(rose.low_deg, rose.high_deg), rim), color=INK, linewidth=2)
    mean = around(rose.mean_deg % 180, np.array([0.0, rim]))
    axes.plot(*mean, color=INK, linestyle="--", linewidth=0.9)


def _within_half(low_deg: float, high_deg: float) -> np.ndarray:
    """Return the angles of an arc of axes as they stand in [0, 180), broken where it comes in again at the other end."""
    angles = np.linspace(low_deg, high_deg, 50) % 180
    return np.insert(angles, np.flatnonzero(np.abs(np.diff(angles)) > 90) + 1, np.nan)


def stack_dots(angles_deg: np.ndarray, apart_deg: float) -> np.ndarray:
    """Return a row for each dot, counted from 0, such that dots of one row are at least so far apart.

    >>> stack_dots(np.array([100.0, 104.0, 101.0, 103.5]), 3.0)
    array([0, 1, 1, 0])
    """
    rows, last = np.zeros(len(angles_deg), dtype=int), [-np.inf]
    for place in np.argsort(angles_deg, kind="stable"):
        free = [row for row, angle in enumerate(last) if angles_deg[place] - angle >= apart_deg]
        rows[place] = free[0] if free else len(last)
        last[rows[place] : rows[place] + 1] = [angles_deg[place]]
    return rows
