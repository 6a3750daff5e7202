"""A torque that no rider gives is refused, whatever unit was declared."""

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import analyse_trial


def _ride(mean_Nm, rpm=90.0):
    time_s = np.arange(0, 30, 0.01)
    crank = 2 * np.pi * rpm / 60 * time_s
    return Recording(time_s, crank, {"total": mean_Nm * (1 + 0.5 * np.cos(2 * crank))}, name="ride")


def test_newton_metres_recorded_in_thousandths_are_refused_with_the_unit_named():
    with pytest.raises(Refusal, match="unit and scale") as refused:
        analyse_trial(_ride(25_000.0))
    assert refused.value.scope == "trial"


def test_a_sprint_of_a_champion_is_believed():
    # 1600 W at 129.8 rpm: the group mean of Dorel et al. 2005.
    assert analyse_trial(_ride(117.7, rpm=129.8)).value("power_W") == pytest.approx(1600, rel=0.01)
