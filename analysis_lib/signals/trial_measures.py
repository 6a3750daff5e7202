"""Everything that is measured of a trial's turns, from torque and, where it is known, pedal force."""

from __future__ import annotations

import pandas as pd

from analysis_lib.signals.pedal_force import turn_effectiveness
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.stroke import turn_measures


def measure_turns(recording: Recording, kept: Turns) -> pd.DataFrame:
    """Measure kept turns: `turn_measures`, and the index of effectiveness where pedal forces are known."""
    measures = turn_measures(kept)
    if not recording.radial_N:
        return measures
    return measures.merge(turn_effectiveness(recording, kept, recording.pedal_forces), on="turn")
