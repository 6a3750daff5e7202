"""What goes around the crank: angles run clockwise from the top, on plain axes.

matplotlib's polar axes take three times as long.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

PALE = "#b0b0b0"
"""Circles and spokes."""

BESIDE_RIM, ABOVE_RIM = 7.0, 18.0
"""Points from the rim to the words at its angles, and to the panel's name above them."""


def around(angle_deg: np.ndarray | float, radius: np.ndarray | float) -> tuple[Any, Any]:
    """Return x and y of points at angles clockwise from the top.

    >>> x, y = around(90.0, 2.0)
    >>> round(float(x), 9), round(float(y), 9)
    (2.0, 0.0)
    """
    return radius * np.sin(np.deg2rad(angle_deg)), radius * np.cos(np.deg2rad(angle_deg))


def circle_panel(
    axes: Axes, reach: float, name: str, angles_deg: Sequence[float], half: bool = False
) -> None:
    """Make a panel a disc of radius `reach`, or its right half, with spokes, words at its rim and its name above."""
    spokes = around(np.repeat(angles_deg, 3), np.tile([0.0, reach, np.nan], len(angles_deg)))
    axes.plot(*spokes, color=PALE, linewidth=0.4)
    for angle in angles_deg:
        _name_angle(axes, angle, half)
    rim = np.append(np.arange(181), 0) if half else np.arange(361)
    axes.plot(*around(rim, reach), color="black", linewidth=0.7, clip_on=False)
    axes.set(xlim=(0.0 if half else -reach, reach), ylim=(-reach, reach), aspect="equal")
    axes.set_axis_off()
    above: Any = {"xytext": (0, ABOVE_RIM), "textcoords": "offset points", "fontweight": "bold"}
    axes.annotate(name, (0, 1), xycoords="axes fraction", ha="left", va="bottom", **above)


def _name_angle(axes: Axes, angle_deg: float, half: bool) -> None:
    x, y = around(angle_deg, 1.0)
    place = (x if half else (1 + x) / 2, (1 + y) / 2)
    beside: Any = {"xytext": (BESIDE_RIM * x, BESIDE_RIM * y), "textcoords": "offset points", "fontsize": 6}
    across = "center" if abs(x) < 0.3 else "left" if x > 0 else "right"
    upright = "center" if abs(y) < 0.6 else "bottom" if y > 0 else "top"
    axes.annotate(f"{angle_deg:g}°", place, xycoords="axes fraction", ha=across, va=upright, **beside)
