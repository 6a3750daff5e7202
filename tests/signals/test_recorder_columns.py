"""A recorder's column map."""

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import ColumnSource, RecorderSettings


def test_one_column_cannot_be_both_legs():
    columns = {
        "time_s": ColumnSource("t", "s"),
        "crank_deg": ColumnSource("angle", "deg"),
        "torque_left_Nm": ColumnSource("left", "N m"),
        "torque_right_Nm": ColumnSource("left", "N m"),
    }
    with pytest.raises(Refusal, match="'left' as torque_left_Nm and as torque_right_Nm"):
        RecorderSettings("csv", columns)
