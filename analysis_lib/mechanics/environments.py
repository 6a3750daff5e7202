"""Environments: what riding on an ergometer instead of the road changes in a turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import SteadyTurn
from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.mechanics.power_error import power_error
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number


@dataclass(frozen=True)
class EnvironmentShift:
    """One steady turn on the road and one on an ergometer, compared angle by angle.

    Attributes
    ----------
    road, ergometer : SteadyTurn
    """

    road: SteadyTurn
    ergometer: SteadyTurn

    @property
    def torque_phase_shift_deg(self) -> float:
        """Torque phase on the ergometer minus road, an axial difference in [−90, 90) degrees."""
        return float(axial_change_deg(self.ergometer.torque_phase_deg - self.road.torque_phase_deg))

    @property
    def torque_rms_Nm(self) -> float:
        """Root mean square, over angle, of the difference of torque."""
        return float(np.sqrt(np.mean((self.ergometer.torque_Nm - self.road.torque_Nm) ** 2)))

    def to_frame(self) -> pd.DataFrame:
        """One row an angle: both speeds and torques and their differences, ergometer minus road."""
        road, ergometer = self.road.to_frame(), self.ergometer.to_frame()
        return pd.DataFrame(
            {
                "crank_deg": road["crank_deg"],
                "speed_road_rpm": road["speed_rpm"],
                "speed_ergometer_rpm": ergometer["speed_rpm"],
                "speed_shift_rpm": ergometer["speed_rpm"] - road["speed_rpm"],
                "torque_road_Nm": road["torque_Nm"],
                "torque_ergometer_Nm": ergometer["torque_Nm"],
                "torque_shift_Nm": ergometer["torque_Nm"] - road["torque_Nm"],
            }
        )

    def summary(self) -> pd.DataFrame:
        """One row a quantity: ``quantity, unit, road, ergometer, shift``.

        The power error is that of a meter that sees crank speed once a turn.
        """
        rows = [
            ("crank speed, peak to peak over mean", "%", *(100 * turn.speed_swing for turn in self._both())),
            ("torque phase", "deg", *(turn.torque_phase_deg for turn in self._both())),
            ("peak torque", "N·m", *(float(turn.torque_Nm.max()) for turn in self._both())),
            ("power", "W", *(turn.power_W for turn in self._both())),
            ("power error with one speed reading a turn", "%", *(_error(turn) for turn in self._both())),
        ]
        table = pd.DataFrame(rows, columns=["quantity", "unit", "road", "ergometer"])
        table["shift"] = table["ergometer"] - table["road"]
        table.loc[table["quantity"] == "torque phase", "shift"] = self.torque_phase_shift_deg
        return table

    def sentence(self) -> str:
        """The shift in words."""
        return (
            f"From road to ergometer the crank speed swings by {100 * self.ergometer.speed_swing:.1f} % "
            f"instead of {100 * self.road.speed_swing:.1f} % of its mean, the torque changes by "
            f"{self.torque_rms_Nm:.2f} N·m (root mean square) and the torque phase by "
            f"{show_number(self.torque_phase_shift_deg, 1, signed=True)}°, by mechanics alone."
        )

    def _both(self) -> tuple[SteadyTurn, SteadyTurn]:
        return self.road, self.ergometer


def compare_environments(road: SteadyTurn, ergometer: SteadyTurn) -> EnvironmentShift:
    """Compare two steady turns at the same number of angles and the same mean cadence, within 1 %.

    Raises
    ------
    Refusal
        Turns of another number of angles or another cadence: the difference would not be the environment's.
    """
    same_angles = road.torque_Nm.size == ergometer.torque_Nm.size
    if not same_angles or abs(ergometer.mean_cadence_rpm / road.mean_cadence_rpm - 1) > 0.01:
        raise Refusal(
            "turns to compare",
            f"{road.torque_Nm.size} angles at {road.mean_cadence_rpm:.1f} rpm and "
            f"{ergometer.torque_Nm.size} angles at {ergometer.mean_cadence_rpm:.1f} rpm",
            "the same angles and the same mean cadence",
            "solve both turns from one stroke at one cadence",
        )
    return EnvironmentShift(road, ergometer)


def _error(turn: SteadyTurn) -> float:
    return 100 * power_error(turn.torque_Nm, turn.speed_rad_s)
