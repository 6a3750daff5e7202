"""The joint shift: how an oval ring moves work between hip, knee and ankle while the pedal force stays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.mechanics.leg import LegPath
from analysis_lib.mechanics.periodic import axial_phase_deg, check_turn
from analysis_lib.mechanics.radial_force import range_joint_loads
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.segments import LegSegments
from analysis_lib.refusals import Refusal

STRUTZENBERGER_RATIO = 1.215
STRUTZENBERGER_RPM, STRUTZENBERGER_W = (70.0, 90.0, 110.0), (180.0, 300.0)
"""Strutzenberger 2014, Sports Biomech (year from memory; abstract read): 14 elite riders on rings up to this axis ratio,
at these cadences and powers. On the most oval alone: lower knee moment, less of the work by the knee, more by the hip;
effects that grow with cadence and not with power. Sizes and mount were not readable."""


def shift_joint_work(
    on_round: Drivetrain,
    on_oval: Drivetrain,
    leg_Nm: ArrayLike,
    cadence_rpm: float,
    path: LegPath,
    segments: LegSegments,
) -> pd.DataFrame:
    """Change of each joint's share of the work from a round to an oval ring, torque unchanged at every angle.

    The other leg is taken as this one's equal half a turn later. On both rings the radial force follows the same rule,
    for each of the rules of `range_joint_loads`. What changes is the crank speed, and with it what the leg's inertia asks
    of the joints: a joint's share of the work of forces depends on where they act, not on how fast.

    Parameters
    ----------
    on_round, on_oval : Drivetrain
    leg_Nm : array of shape (angles,)
        One leg's crank torque; an even number of angles.
    cadence_rpm : float
        The same mean on both.
    path, segments
        As in `solve_joint_loads`.

    Returns
    -------
    DataFrame
        One row a radial force: ``radial_force, hip_points, knee_points, ankle_points, knee_peak_pct``: shares oval −
        round in percentage points, which add up to nothing, and largest knee moment over that on the round ring, − 1.

    Raises
    ------
    Refusal
        An odd number of angles, and what the parts refuse.
    """
    leg, _ = check_turn(leg_Nm, "leg_Nm")
    if leg.size % 2:
        raise Refusal("leg_Nm", f"{leg.size} angles", "an even number", "average the turn in 360 bins")
    both = leg + np.roll(leg, leg.size // 2)
    before, after = (
        range_joint_loads(path, segments, drivetrain.steady_speed(both, cadence_rpm), leg).cases
        for drivetrain in (on_round, on_oval)
    )
    rows = []
    for first, second in zip(before, after, strict=True):
        old, new = (joint_work(case.loads).net_shares_pct() for case in (first, second))
        peak = float(second.loads.knee_Nm.max() / first.loads.knee_Nm.max())
        row = {f"{joint}_points": new[joint] - old[joint] for joint in new}
        rows.append({"radial_force": first.name} | row | {"knee_peak_pct": 100 * (peak - 1)})
    return pd.DataFrame(rows)


def strutzenberger_shifts(
    on_round: Drivetrain,
    leg_Nm: ArrayLike,
    path: LegPath,
    segments: LegSegments,
    offsets_deg: Sequence[float] = (-45.0, 0.0, 45.0),
) -> pd.DataFrame:
    """`shift_joint_work` at the ring, cadences and powers of Strutzenberger 2014, for one leg's stroke scaled to them.

    Parameters
    ----------
    on_round : Drivetrain
        Whose inertia, sprocket and chainstay are used, and whose teeth.
    leg_Nm, path, segments
        As in `shift_joint_work`.
    offsets_deg : sequence of float
        Largest arm from the torque phase; the mount was not readable.

    Returns
    -------
    DataFrame
        The columns of `shift_joint_work` with ``power_W, cadence_rpm, offset_deg`` before them.
    """
    leg, _ = check_turn(leg_Nm, "leg_Nm")
    oval = replace(on_round, ring=Ring.ellipse(on_round.ring.teeth, STRUTZENBERGER_RATIO))
    phase = axial_phase_deg(leg + np.roll(leg, leg.size // 2))
    frames = []
    for power in STRUTZENBERGER_W:
        for cadence in STRUTZENBERGER_RPM:
            scaled = leg / leg.mean() * power / 2 / (cadence * 2 * np.pi / 60)
            for offset in offsets_deg:
                mounted = oval.with_mount(oval.mount_for_peak_arm((phase + offset) % 180.0))
                frame = shift_joint_work(on_round, mounted, scaled, cadence, path, segments)
                labels = {"power_W": power, "cadence_rpm": cadence, "offset_deg": offset}
                frames.append(frame.assign(**labels)[[*labels, *frame.columns]])
    return pd.concat(frames, ignore_index=True)
