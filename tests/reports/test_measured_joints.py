"""Both components of the pedal force from the recorder's samples to the work of the joints."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.mechanics.inverse_dynamics import solve_joint_loads
from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.published_joints import MEASURED_AT_31_RPM
from analysis_lib.mechanics.segments import leg_segments
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.reports.ring_mechanics.ring_measured_joints import (
    load_exhibit,
    load_sentences,
    load_table,
    measured_loads,
)
from analysis_lib.signals.crank_forces import forces_on_crank
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import analyse_trial

PARK_TABLE = Path(__file__).resolve().parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"
CRANK_M = 0.170
PATH = follow_leg(LegGeometry(CRANK_M, 0.42, 0.43, 0.14, 0.20, 0.68), ankling(360, 18.0, 20.0, 285.0))
LEGS = StatedLegs(PATH, leg_segments("Winter", 75.0, 0.42, 0.43, 0.14), 75.0)
ANGLE = np.arange(360) * 2 * math.pi / 360


def recorded(tangential_N, inward_N, speed_rad_s):
    """A trial of ten turns and some, sampled 200 times a second, with forces given by functions of the crank angle."""
    time = np.arange(0, 10.5 * 2 * math.pi / speed_rad_s, 0.005)
    crank = speed_rad_s * time
    torque = CRANK_M * tangential_N(crank)
    return analyse_trial(
        Recording(time, crank, {"right": torque}, radial_N={"right": inward_N(crank)}, crank_length_m=CRANK_M)
    )


def rider(**results):
    rows = [{"trial": ring, "ring": ring, "intensity": "steady"} for ring in results]
    return SimpleNamespace(rider="R01", used=pd.DataFrame(rows), results=results)


def smooth_forces(scale):
    return (
        lambda angle: scale * (90.0 + 150.0 * np.cos(angle - math.radians(100))),
        lambda angle: scale * 120.0 * np.cos(angle),  # a push of 120 N: towards the axis at the top
    )


def test_recorded_forces_reach_the_joints_with_their_signs():
    loads = measured_loads(
        rider(round=recorded(*smooth_forces(1.0), 9.0), oval=recorded(*smooth_forces(1.1), 9.0)),
        "steady",
        LEGS,
    )
    assert list(loads) == ["round", "oval"]
    tangential, inward = (part(ANGLE) for part in smooth_forces(1.0))
    expected = solve_joint_loads(PATH, LEGS.segments, 9.0, tangential, -inward)
    for joint in ("hip_Nm", "knee_Nm", "ankle_Nm"):
        assert getattr(loads["round"], joint) == pytest.approx(getattr(expected, joint), abs=0.3)
    assert joint_work(loads["round"]).pedal_J == pytest.approx(2 * math.pi * CRANK_M * 90.0, rel=1e-3)
    table = load_table(loads).frame.set_index("ring")
    assert table.loc["oval", "pedal_J"] == pytest.approx(1.1 * table.loc["round", "pedal_J"], rel=1e-3)
    assert table.loc["round", ["hip_pct", "knee_pct", "ankle_pct"]].sum() == pytest.approx(100)
    assert len(load_exhibit(loads).figure.axes) == 6
    assert "round: hip" in load_sentences(loads)[0] and "oval: hip" in load_sentences(loads)[0]


def test_torque_alone_is_refused_in_words():
    time = np.arange(0, 8.0, 0.005)
    bare = analyse_trial(Recording(time, 9.0 * time, {"right": 20.0 + 10.0 * np.sin(9.0 * time)}))
    with pytest.raises(Refusal, match=r"radial force of the right pedal.*both components"):
        measured_loads(rider(round=bare), "steady", LEGS)
    with pytest.raises(Refusal, match="no trial"):
        measured_loads(rider(round=bare), "hard", LEGS)


def test_a_measured_force_table_through_the_whole_chain():
    """Park & Caldwell 2021: sampled like a recorder, cut in turns, averaged by angle, solved, integrated to shares.

    The shares are those of the table itself (`MEASURED_AT_31_RPM`, worked out from it degree by degree).
    """
    if not PARK_TABLE.exists():
        pytest.skip(f"{PARK_TABLE.name} is not beside the project")
    table = pd.read_csv(PARK_TABLE)[:360]
    forces = forces_on_crank(table["ap_mean_N"], table["v_mean_N"], ANGLE)

    def by_angle(part):
        return lambda angle: np.interp(
            angle % (2 * math.pi), np.append(ANGLE, 2 * math.pi), np.append(part, part[0])
        )

    trial = recorded(by_angle(forces.tangential_N), by_angle(forces.radial_N), 3.28275)
    loads = measured_loads(rider(round=trial), "steady", LEGS)["round"]
    assert loads.pedal_W.mean() == pytest.approx(35.47, abs=0.05)  # one leg, reference values section 1a
    assert joint_work(loads).net_shares_pct() == pytest.approx(MEASURED_AT_31_RPM, abs=0.2)
    assert np.max(np.abs(loads.balance_W)) < 1e-9 * np.max(np.abs(loads.pedal_W))
