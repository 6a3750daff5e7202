"""The start from rest on both rings, and how it runs into the steady turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.crank_dynamics import Resistance, SteadyTurn, steady_turn
from analysis_lib.mechanics.inertia import with_rider
from analysis_lib.mechanics.start_up import StartUp, play_start_up
from analysis_lib.mechanics.stroke_model import make_stroke
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import start_panels
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.reports.rider.road_shift import BICYCLE_KG, WHEEL_RADIUS_M
from analysis_lib.statistics.estimates import show_number

AIR = Resistance("quadratic")
START_CRANK_DEG = 60.0
"""Right crank forward of the top, where a rider steps on the pedal."""

NEARLY = 0.95
"""Share of the steady cadence at which a start counts as done (convention, no source)."""

Starts = dict[str, "RingStart"]


@dataclass(frozen=True)
class RingStart:
    """A start on one ring, and the steady turn it should end in."""

    start: StartUp
    steady: SteadyTurn

    def by_turn(self) -> pd.DataFrame:
        """One row a whole turn: ``time_s`` of its end, ``slowest_rpm, fastest_rpm, cadence_rpm``."""
        turn = np.ceil(self.start.crank_rad / (2 * np.pi)).astype(int)
        speed = pd.Series(self.start.speed_rad_s * 60 / (2 * np.pi)).groupby(turn)
        whole = self.start.cadence_by_turn()
        return pd.DataFrame(
            {
                "time_s": pd.Series(self.start.time_s).groupby(turn).max().to_numpy()[1 : len(whole) + 1],
                "slowest_rpm": speed.min().to_numpy()[1 : len(whole) + 1],
                "fastest_rpm": speed.max().to_numpy()[1 : len(whole) + 1],
                "cadence_rpm": whole["cadence_rpm"],
            }
        )

    def last_turn(self) -> pd.DataFrame:
        """The last whole turn at the angles of the steady one: ``crank_deg, speed_start_rpm, speed_steady_rpm``."""
        turn = self.steady.to_frame()
        whole = 2 * np.pi * (self.start.crank_rad[-1] // (2 * np.pi) - 1)
        speed = np.interp(whole + self.steady.crank_rad, self.start.crank_rad, self.start.speed_rad_s)
        return pd.DataFrame(
            {
                "crank_deg": turn["crank_deg"],
                "speed_start_rpm": speed * 60 / (2 * np.pi),
                "speed_steady_rpm": turn["speed_rpm"],
            }
        )

    def summary(self) -> dict[str, float]:
        """First turn, time to nearly the steady cadence, and how far the last turn is from the steady one."""
        turns, last = self.start.cadence_by_turn(), self.last_turn()
        done = turns["cadence_rpm"] >= NEARLY * self.steady.mean_cadence_rpm
        gap = last["speed_start_rpm"] - last["speed_steady_rpm"]
        return {
            "first_turn_s": float(turns["duration_s"].iloc[0]),
            "nearly_s": float(turns["duration_s"].cumsum()[done].iloc[0]) if done.any() else np.nan,
            "last_rpm": float(turns["cadence_rpm"].iloc[-1]),
            "steady_rpm": self.steady.mean_cadence_rpm,
            "largest_gap_pct": 100 * float(gap.abs().max()) / self.steady.mean_cadence_rpm,
        }


def start_from_rest(rings: RingComparison, body_mass_kg: float, duration_s: float) -> Starts:
    """Play the start on the road against air that allows the measured cadence, on each ring.

    Parameters
    ----------
    rings : RingComparison
    body_mass_kg : float
        Of the rider; bicycle and clothes come on top.
    duration_s : float

    Raises
    ------
    Refusal
        A start that stalls, or is too short for two turns.
    """
    starts = {}
    for role, drivetrain in rings.drivetrains.items():
        stroke = make_stroke(rings.torque_Nm, rings.speeds["round"], rings.slope_Nms)
        road = with_rider(drivetrain, body_mass_kg + BICYCLE_KG, WHEEL_RADIUS_M)
        steady = steady_turn(road, stroke, AIR, mean_cadence_rpm=rings.cadence_rpm)
        start = play_start_up(
            road, stroke, AIR, steady.level, 0.0, duration_s, start_crank_deg=START_CRANK_DEG
        )
        if start.stalled or len(start.cadence_by_turn()) < 2:
            raise Refusal(
                f"start on the {role} ring",
                "a crank that stops or makes fewer than two turns",
                "a start that gets going",
                "start where the stroke drives, against less resistance, or play it for longer",
            )
        starts[role] = RingStart(start, steady)
    return starts


def start_sentences(starts: Starts) -> list[str]:
    """Say how the start runs and whether it ends in the steady turn."""
    words = []
    for role, start in starts.items():
        facts = {name: show_number(value, 1) for name, value in start.summary().items()}
        gap = show_number(start.summary()["largest_gap_pct"], 2)
        words.append(
            f"On the {role} ring the first turn takes {facts['first_turn_s']} s, {100 * NEARLY:.0f} % of the steady"
            f" cadence is reached after {facts['nearly_s']} s, and the last turn keeps within {gap} % of the steady"
            " periodic solution, which was found another way."
        )
    return [
        *words,
        (
            "The stroke is taken to hold from standstill, a little stronger there by its slope and never"
            " fatigued. A real start uses other gears, another posture and more force: read the shape, not the seconds."
        ),
    ]


def start_exhibit(starts: Starts) -> FigureExhibit:
    """Draw crank speed from rest, and the last turn over the steady one."""
    runs = pd.concat(start.by_turn().assign(ring=role) for role, start in starts.items())
    turns = pd.concat(start.last_turn().assign(ring=role) for role, start in starts.items())
    return FigureExhibit(
        "start",
        start_panels(runs, turns),
        "Left: cadence of each turn in time, from rest to steady riding on the road in one gear, with slowest and"
        " fastest crank speed of the turn (shaded): the oval ring's swing is there from the first turn, and grows with the"
        " speed. Right: the last turn of the start (markers) over the steady periodic solution (lines):"
        " they should lie on one another.",
        "Two line charts for round and oval ring: cadence with the range of speed against time, rising from rest and"
        " levelling off, and crank speed against crank angle in the last turn, markers on lines.",
        turns,
    )


def start_table(starts: Starts) -> TableExhibit:
    """Give first turn, time to nearly steady, and the gap to the steady turn by ring."""
    frame = pd.DataFrame([{"ring": role, **start.summary()} for role, start in starts.items()])
    return TableExhibit(
        "start",
        frame,
        "The start by ring: duration of the first turn, time to 95 % of the steady cadence, cadence of the last turn"
        " and of the steady solution, and the largest gap between the two within the turn.",
        {
            "first_turn_s": "first turn (s)",
            "nearly_s": "to 95 % (s)",
            "last_rpm": "last turn (rpm)",
            "steady_rpm": "steady (rpm)",
            "largest_gap_pct": "largest gap (%)",
        },
        {"first_turn_s": 2, "nearly_s": 1, "last_rpm": 2, "steady_rpm": 2, "largest_gap_pct": 3},
    )
