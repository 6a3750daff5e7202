"""The table of oval rings whose declared shape the crank's speed contradicts."""

from __future__ import annotations

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.trials.ring_shapes import LEAST_APART
from analysis_lib.reports.trials.shape_words import doubted_shapes
from analysis_lib.reports.trials.speed_verdict import SWING_BAND
from analysis_lib.reports.trials.trials_at_hand import TrialsAtHand


def shape_tables(analysis: TrialsAtHand) -> list[TableExhibit]:
    """The table of rings of another shape than declared, by rider; none where none is in doubt."""
    rows = doubted_shapes(analysis.study.settings, analysis.trials)
    if rows.empty:
        return []
    low, high = SWING_BAND
    return [
        TableExhibit(
            "ring_shape",
            rows,
            "Oval rings whose part of the crank speed's two waves a turn is not that of the declared shape: how many times"
            " as oval they look (median and range over trials), and as axis ratio. Counted outside"
            f" {low:g} to {high:g} and where the wave is {100 * LEAST_APART:g} % of the mean speed off, conventions. Swing"
            " on the round ring: measured over that by torque and the stated inertia, which is allowed for.",
            {
                "doubted": "trials in doubt",
                "oval_trials": "trials on it",
                "factor": "times as oval",
                "declared": "axis ratio declared",
                "looks": "axis ratio it looks",
                "round_swing": "swing on the round ring, measured / stated inertia",
            },
            dict.fromkeys(("factor", "from", "to", "declared", "looks", "round_swing"), 2),
        )
    ]
