"""The quantities that a trial's recording can give, with their units."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.trial_measures import measure_turns
from analysis_lib.signals.trial_summary import NOT_SUMMARISED, UNIT_BY_ENDING


@lru_cache(maxsize=1)
def measured_quantities() -> dict[str, str]:
    """Name every quantity of a two-leg recording with pedal forces and its unit, by measuring a few invented turns.

    Asking the signals room itself keeps the list from falling behind it.

    >>> measured_quantities()["power_W"]
    'W'
    """
    time_s = np.arange(0.0, 4.0, 0.02)
    crank = 2 * np.pi * time_s
    legs = {"left": 10 - 9 * np.sin(crank), "right": 10 + 9 * np.sin(crank)}
    radial = {leg: np.full(time_s.size, 50.0) for leg in legs}
    recording = Recording(time_s, crank, legs, radial_N=radial, crank_length_m=0.17)
    names = measure_turns(recording, cut_turns(recording).only_kept()).columns
    return {
        name: UNIT_BY_ENDING.get(name.rsplit("_", 1)[-1], "") for name in names if name not in NOT_SUMMARISED
    }
