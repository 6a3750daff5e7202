"""Published effects over the band that mechanics predicts for them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.figures.style import BLUE, GREY, INK, in_house_style, new_figure

ROW_MM, REST_MM = 8.5, 18


@in_house_style
def effect_bands(rows: pd.DataFrame) -> Figure:
    """Return a range chart, first row on top.

    Columns ``label, published_pct, published_low_pct, published_high_pct, predicted_low_pct,
    predicted_high_pct, in_phase_low_pct, in_phase_high_pct``.
    """
    figure, (axes,) = new_figure(height_mm=REST_MM + ROW_MM * len(rows))
    place = np.arange(len(rows))[::-1]
    for low, high, strength, label in (
        ("predicted_low_pct", "predicted_high_pct", 0.22, "predicted, mount not known"),
        ("in_phase_low_pct", "in_phase_high_pct", 0.55, "predicted, arm at the torque phase"),
    ):
        width = rows[high] - rows[low]
        axes.barh(place, width, left=rows[low], height=0.62, color=BLUE, alpha=strength, label=label)
    known = rows["published_pct"].notna().to_numpy()
    value = rows.loc[known, "published_pct"]
    ends = [value - rows.loc[known, "published_low_pct"], rows.loc[known, "published_high_pct"] - value]
    axes.errorbar(
        value, place[known], xerr=np.nan_to_num(ends), fmt="o", color=INK, capsize=2, label="published"
    )
    for at in place[~known]:
        axes.annotate("", (-3, at), (0, at), arrowprops={"arrowstyle": "->", "color": INK})
    axes.axvline(0, color=GREY, linewidth=0.7)
    axes.use_sticky_edges = False
    axes.margins(x=0.04)
    axes.set_yticks(place, rows["label"])
    axes.set_ylim(-0.6, len(rows) - 0.4)
    axes.set_xlabel("Oval over round (%)")
    figure.legend(loc="outside upper right", ncols=3)
    return figure
