"""The rules by which a turn is kept or dropped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from analysis_lib.refusals import Refusal

INCOMPLETE = "incomplete"
GAP = "gap in samples"
BACKWARDS = "backwards"
SATURATED = "saturated channel"
NO_TORQUE = "coasting or no torque"
STUCK = "stuck channel"
CADENCE = "cadence out of band"

# A turn that breaks several rules is counted under the first of them. Faults of the record come before faults
# of the channel, and these before what the rider did, because each can feign those behind it.
REASONS = (INCOMPLETE, GAP, BACKWARDS, SATURATED, NO_TORQUE, STUCK, CADENCE)


@dataclass(frozen=True)
class TurnRules:
    """Which turns count. A dropped turn has one reason, the first of `REASONS` that applies.

    Attributes
    ----------
    max_gap_s : float
        Longest time between two samples of a turn, s. "gap in samples". 0.1 s is 54° at 90 rpm: across more,
        a straight line no longer stands for a rider's torque.
    max_backward_deg : float
        Farthest that the angle may lie behind the farthest angle reached, degrees. "backwards". Five degrees
        is beyond an encoder's jitter and short of a rider who steps back.
    max_standstill_s : float
        Longest time within one degree of the crank, s. "coasting or no torque". 0.1 s is 1.7 rpm, slower than
        any dead centre of a turn that is being pedalled.
    min_mean_torque_Nm : float
        Least mean of the two-leg torque over the turn, N m; a one-leg recording's leg counts twice. "coasting
        or no torque". 1 N m is 9 W at 90 rpm.
    min_torque_range_Nm : float
        Least range of a channel over the turn, N m. "stuck channel". No leg loads a crank evenly; a channel
        that holds within 0.05 N m for a turn has stopped measuring; within the turn before it stopped, and within the
        one after it went on, so these are dropped too. So are turns in which it keeps one value for 20° or more where it
        changes in the others, see `held_values.frozen_holds`. 0 switches the rule off.
    cadence_min_rpm, cadence_max_rpm : float
        Band of the turn's cadence, rpm. "cadence out of band". 30 to 150 rpm holds all steady riding that the
        published crossovers used (60 to 120 rpm) with room at both sides.
    min_turns : int
        Kept turns below which a result carries a caution. Thirty turns are needed for a stable mean of
        discrete crank measures (Sports Biomechanics 2025, 24:2519).

    Raises
    ------
    Refusal
        A negative rule, or a band whose lower end is not below its upper end.
    """

    cadence_min_rpm: float = 30.0
    cadence_max_rpm: float = 150.0
    max_gap_s: float = 0.1
    max_backward_deg: float = 5.0
    max_standstill_s: float = 0.1
    min_mean_torque_Nm: float = 1.0
    min_torque_range_Nm: float = 0.05
    min_turns: int = 30

    def __post_init__(self) -> None:
        for rule in fields(self):
            if not getattr(self, rule.name) >= 0:
                self._refuse(rule.name, f"{getattr(self, rule.name)}", "0 or more")
        if not self.cadence_min_rpm < self.cadence_max_rpm:
            got = f"{self.cadence_min_rpm:g} to {self.cadence_max_rpm:g} rpm"
            self._refuse("cadence_min_rpm to cadence_max_rpm", got, "a band with its lower end first")

    def _refuse(self, rule: str, got: str, wanted: str) -> None:
        raise Refusal(f"turn rule {rule}", got, wanted, "correct the rule")


def counted(dropped: Mapping[str, int]) -> str:
    """Say why turns were dropped, each reason with its count.

    >>> counted({"gap in samples": 3, "backwards": 1})
    'gap in samples: 3, backwards: 1'
    """
    return ", ".join(f"{reason}: {count}" for reason, count in dropped.items())
