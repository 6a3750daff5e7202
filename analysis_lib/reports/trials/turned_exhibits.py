"""The table of trials whose crank speed contradicts the mounts, or the zero of the crank angle."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.trials.speed_verdict import PHASE_BAND_DEG
from analysis_lib.reports.trials.turned_words import turned_riders


def turn_tables(trials: pd.DataFrame) -> list[TableExhibit]:
    """The table of turned trials by rider; none where no trial is turned."""
    riders = turned_riders(trials)
    if riders.empty:
        return []
    return [
        TableExhibit(
            "turned",
            riders,
            "Trials on an oval ring whose crank speed is that of a ring at another mount: by how much it must be turned for"
            " the speed predicted from torque, ring and inertia to agree with the measured one (median and range over"
            f" trials). Counted above {PHASE_BAND_DEG:g}°, a convention; positive: the mount looks larger than stated, or"
            " the recorded angle too small.",
            {
                "turned_trials": "turned trials",
                "oval_trials": "trials on an oval ring",
                "turned_deg": "turned by (deg)",
                "from_deg": "from (deg)",
                "to_deg": "to (deg)",
            },
            dict.fromkeys(("turned_deg", "from_deg", "to_deg"), 1),
        )
    ]
