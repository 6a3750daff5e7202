"""The joints by both components of the pedal force, where a study recorded them: moments, powers and work by ring."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.inverse_dynamics import JointLoads, solve_joint_loads
from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.joint_figures import joint_load_panels
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.statistics.estimates import show_number

LoadsByRing = dict[str, JointLoads]


def measured_loads(analysis: RiderAnalysis, intensity: str, legs: StatedLegs) -> LoadsByRing:
    """Solve the joints of the right leg on every ring ridden, from its measured tangential and radial force.

    Raises
    ------
    Refusal
        Where a trial tells the torque alone: then joint loads are known within a range only.
    """
    here = analysis.used[analysis.used["intensity"] == intensity]
    loads = {}
    for ring, trials in here.groupby("ring", sort=False):
        results = [analysis.results[str(trial)] for trial in trials["trial"]]
        # The recorder's radial force is positive towards the axis, that of the mechanics away from it.
        outward = -np.mean([result.radial_at_angles("right") for result in results], axis=0)
        torque = np.mean([result.torque_at_angles("right") for result in results], axis=0)
        speed = np.mean([result.speed_at_angles() for result in results], axis=0)
        tangential = torque / legs.path.geometry.crank_m
        loads[str(ring)] = solve_joint_loads(legs.path, legs.segments, speed, tangential, outward)
    if not loads:
        raise Refusal(
            f"rider {analysis.rider}, {intensity}",
            "no trial",
            "a trial that was used",
            "name another intensity",
        )
    return loads


def load_sentences(loads: LoadsByRing) -> list[str]:
    """Say how the joints share the work on each ring, and what was stated."""
    words = []
    for ring, part in loads.items():
        each = ", ".join(f"{joint} {show_number(share, 0)} %" for joint, share in _shares(part).items())
        words.append(f"{ring}: {each}")
    return [
        f"Share of the joints in the work on the right pedal, by both components of its force; {'; '.join(words)}. A point"
        " or two between rings is no finding: the leg is stated, not measured, and one degree of error in the direction"
        " of the force moves the knee's share by some points."
    ]


def load_exhibit(loads: LoadsByRing) -> FigureExhibit:
    """Draw moment and power of every joint on each ring."""
    frame = pd.concat([part.to_frame().assign(ring=ring) for ring, part in loads.items()], ignore_index=True)
    return FigureExhibit(
        "measured_joint_loads",
        joint_load_panels(frame),
        "Moments (above, positive where they extend) and powers (below) of the right leg's hip, knee and ankle by ring,"
        " from both measured components of the pedal force. Segments:"
        f" {next(iter(loads.values())).source}. Look where the rings part by more than trials of one ring do.",
        f"Six line charts against crank angle: moment and power of hip, knee and ankle on {' and '.join(loads)} ring.",
        frame,
    )


def load_table(loads: LoadsByRing) -> TableExhibit:
    """Give largest moments, shares and effectiveness by ring."""
    rows = []
    for ring, part in loads.items():
        row: dict[str, object] = {"ring": ring, "pedal_J": joint_work(part).pedal_J}
        for joint, share in _shares(part).items():
            row |= {f"{joint}_pct": share, f"{joint}_Nm": float(getattr(part, f"{joint}_Nm").max())}
        rows.append(row)
    frame = pd.DataFrame(rows)
    joints = ("hip", "knee", "ankle")
    return TableExhibit(
        "measured_joint_loads",
        frame,
        "Right leg by ring: work on the pedal in a turn, each joint's net share of it, and its largest extending moment.",
        {"pedal_J": "pedal (J)"}
        | {f"{joint}_pct": f"{joint} (%)" for joint in joints}
        | {f"{joint}_Nm": f"{joint} (N·m)" for joint in joints},
        dict.fromkeys(frame.columns[1:], 1),
    )


def _shares(loads: JointLoads) -> dict[str, float]:
    return joint_work(loads).net_shares_pct()
