"""Work of the joints, and the shares, moments and effectiveness that published tables report of seated cycling."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar

from analysis_lib.mechanics.inverse_dynamics import solve_joint_loads
from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.published_joints import MEASURED_AT_31_RPM, PUBLISHED, compare_joint_loads
from analysis_lib.mechanics.radial_force import (
    effectiveness,
    radial_from_push,
    radial_of_least_moments,
    range_joint_loads,
)
from analysis_lib.mechanics.segments import leg_segments
from analysis_lib.refusals import Refusal

ANGLE = np.arange(360) * 2 * math.pi / 360
CRANK_M = 0.170
PATH = follow_leg(LegGeometry(CRANK_M, 0.42, 0.43, 0.14, 0.20, 0.68), ankling(360, 18.0, 20.0, 285.0))
SEGMENTS = leg_segments("Winter", 75.0, 0.42, 0.43, 0.14)
PARK_TABLE = Path(__file__).parents[3] / "shared" / "data" / "pedal_force_by_degree.csv"

# Tangential force (N) every 15° of 15 cyclists at 31 rpm: Park & Caldwell 2021, J Sport Health Sci 10:99.
PARK_TANGENTIAL = [
    32.7, 66.4, 105.6, 143.3, 177.0, 205.5, 225.8, 232.2, 218.6, 182.6, 128.3, 67.6,
    20.1, -5.9, -21.4, -33.9, -42.8, -47.0, -45.8, -39.7, -29.7, -17.8, -5.4, 9.2,
]  # fmt: skip
LEG_NM = CRANK_M * np.fft.irfft(np.fft.rfft(PARK_TANGENTIAL), n=360) * 360 / 24
TANGENTIAL = LEG_NM / CRANK_M


def loads_with(radial, speed=6.0):
    return solve_joint_loads(PATH, SEGMENTS, speed, TANGENTIAL, radial)


def test_work_of_a_knee_that_extends_for_half_a_turn():
    """10 W for the first second of a turn of 2 s, then −4 W by a flexing moment: 10 J and −4 J, 60 % net of 10 J."""
    nothing, first = np.zeros(360), np.arange(360) < 180
    turn = replace(
        loads_with(nothing),
        hip_W=nothing,
        ankle_W=nothing,
        knee_W=np.where(first, 10.0, -4.0),
        knee_Nm=np.where(first, 3.0, -3.0),
        pedal_W=np.full(360, 5.0),
        speed_rad_s=np.full(360, math.pi),
    )
    work = joint_work(turn)
    knee = work.frame.set_index(["joint", "action"]).loc["knee"]
    assert knee.loc["extension", ["positive_J", "downstroke_J", "net_J"]].tolist() == pytest.approx(
        [10, 10, 10]
    )
    assert knee.loc["flexion", ["negative_J", "upstroke_J", "net_J"]].tolist() == pytest.approx([-4, -4, -4])
    assert work.net_shares_pct() == pytest.approx({"hip": 0.0, "knee": 60.0, "ankle": 0.0})
    assert work.positive_shares_pct()["knee", "extension"] == pytest.approx(100)
    assert "knee 60 %" in work.sentence()


@pytest.mark.parametrize("speed", [3.0, 9.0 * (1 + 0.1 * np.cos(2 * ANGLE))])
def test_shares_add_up_whatever_the_radial_force(speed):
    even = joint_work(loads_with(radial_from_push(150.0, ANGLE), speed))
    wild = joint_work(loads_with(300.0 * np.sin(3 * ANGLE) - 80.0, speed))
    for work in (even, wild):
        rows = work.frame
        assert sum(work.net_shares_pct().values()) == pytest.approx(100, rel=1e-9)
        assert (rows["positive_J"] + rows["negative_J"]).to_numpy() == pytest.approx(rows["net_J"].to_numpy())
        assert (rows["downstroke_J"] + rows["upstroke_J"]).to_numpy() == pytest.approx(
            rows["net_J"].to_numpy()
        )
    # The pedal's work is ∮ torque dθ, and the radial force moves shares without adding any.
    assert wild.pedal_J == pytest.approx(2 * math.pi * LEG_NM.mean(), rel=1e-9)
    assert even.pedal_J == pytest.approx(wild.pedal_J, rel=1e-12)
    assert abs(even.net_shares_pct()["knee"] - wild.net_shares_pct()["knee"]) > 20


def test_a_leg_that_brakes_has_no_shares():
    braking = joint_work(solve_joint_loads(PATH, SEGMENTS, 6.0, -TANGENTIAL, np.zeros(360)))
    with pytest.raises(Refusal, match="drives the crank"):
        braking.net_shares_pct()


def test_least_moments_by_search():
    found = radial_of_least_moments(PATH, SEGMENTS, 6.0, TANGENTIAL)
    for index in (0, 50, 120, 200, 310):

        def cost(radial, index=index):
            loads = loads_with(np.full(360, radial))
            return loads.hip_Nm[index] ** 2 + loads.knee_Nm[index] ** 2 + loads.ankle_Nm[index] ** 2

        best = minimize_scalar(cost, bracket=(-500.0, 500.0)).x
        assert found[index] == pytest.approx(best, abs=1e-3)


def compared(**columns):
    frame = compare_joint_loads(PATH, SEGMENTS, LEG_NM)
    for name, value in columns.items():
        frame = frame[frame[name] == value]
    return frame


def test_published_shares_of_hip_and_knee_lie_between_push_and_least_moments():
    """Plausibility only: seated riders' net shares (open data sitStand.csv, n = 15; maximal cycling by Martin 2007).

    Neither end of the range was fitted to them, and neither would do alone: a push leaves the knee less than
    nothing, least moments give it more than it has.
    """
    net = compared(quantity="net work").set_index("joint")
    assert len(net) == 9
    for joint in ("hip", "knee"):
        assert net.loc[joint, "verdict"].tolist() == ["inside"] * 3
    knee, hip = net.loc["knee"], net.loc["hip"]
    assert (knee["light_push"] < 0).all() and (knee["least_moments"] > knee["published_high"]).all()
    assert (hip["heavy_push"] > 100).all() and (hip["least_moments"] < hip["published_low"]).all()
    assert net.loc["ankle", "verdict"].tolist()[:2] == ["inside", "inside"]


@pytest.mark.parametrize("table", ["Winter", "de Leva 1996"])
def test_the_verdict_on_hip_and_knee_does_not_hang_on_the_stated_leg(table):
    """Another segment table; and a foot whose line from ankle to axle is 25° steeper, under a saddle 5 cm higher."""
    more = {"sex": "female", "foot_length_m": 0.25} if table == "de Leva 1996" else {}
    segments = leg_segments(table, 75.0, 0.42, 0.43, 0.155, **more)
    steep = follow_leg(LegGeometry(CRANK_M, 0.42, 0.43, 0.155, 0.20, 0.73), ankling(360, 43.0, 20.0, 285.0))
    frame = compare_joint_loads(steep, segments, LEG_NM)
    net = frame[(frame["quantity"] == "net work") & (frame["joint"] != "ankle")]
    assert (net["verdict"] == "inside").all()


def test_least_moments_predict_published_effectiveness():
    """48.0 ± 9.7 % of 15 cyclists at 90 rpm (Front Sports Act Living 2022): predicted without a parameter to fit."""
    index = compared(quantity="effectiveness", power_W=250.0)["least_moments"].iloc[0]
    assert abs(index - 48.0) < 9.7


def test_what_lies_outside_is_known():
    """A change of the chain that moves a published figure in or out has to be looked at."""
    frame = compared()
    outside = frame[~frame["verdict"].str.contains("inside|within")]
    named = {(row.source.split(",")[0], row.quantity, row.joint, row.action) for row in outside.itertuples()}
    assert named == {
        ("Martin 2007", "net work", "ankle", ""),
        ("Ericson 1986", "positive work", "hip", "flexion"),
        ("Ericson 1986", "positive work", "knee", "extension"),
        ("open data data.csv", "moment per force", "knee", "flexion"),
        ("open data data.csv", "moment per force", "ankle", "extension"),
        ("Leirdal & Ettema 2011", "effectiveness", "", ""),
    }


def test_shares_hardly_hang_on_the_power_taken():
    """The watts of half of sprint power are not told; from 400 to 1000 W the knee's share moves by 6 points at most."""
    knee = next(part for part in PUBLISHED if part.joint == "knee" and part.cadence_rpm == 70.0)
    rows = [replace(knee, power_W=power) for power in (400.0, 1000.0)]
    frame = compare_joint_loads(PATH, SEGMENTS, LEG_NM, rows)
    assert np.ptp(frame["least_moments"]) < 6 and np.ptp(frame["light_push"]) < 6


def test_verdicts_and_refusals():
    with pytest.raises(Refusal, match="leg that drives"):
        compare_joint_loads(PATH, SEGMENTS, -LEG_NM)
    part = PUBLISHED[0]  # hip 30.0 to 40.5, SD 8.2
    assert part.verdict(35.0, 60.0) == "inside"
    assert part.verdict(45.0, 60.0) == "below by 4.5, within its SD"
    assert part.verdict(0.0, 10.0) == "above by 20.0"


def measured_table():
    if not PARK_TABLE.exists():
        pytest.skip(f"{PARK_TABLE.name} is not beside the project")
    table = pd.read_csv(PARK_TABLE)[:360]
    return table["ap_mean_N"].to_numpy(), table["v_mean_N"].to_numpy()


def test_measured_table_through_the_whole_chain():
    """Park & Caldwell 2021: shares at 31 rpm, and that weight and inertia are not what sets them apart."""
    forward, up = measured_table()
    tangential = forward * np.cos(ANGLE) - up * np.sin(ANGLE)
    radial = forward * np.sin(ANGLE) + up * np.cos(ANGLE)

    def shares(segments, speed=3.28275):
        loads = solve_joint_loads(PATH, segments, speed, tangential, radial)
        return joint_work(loads).net_shares_pct()

    full = shares(SEGMENTS)
    assert full == pytest.approx(MEASURED_AT_31_RPM, abs=0.05)
    weightless = replace(
        SEGMENTS,
        **{
            name: replace(getattr(SEGMENTS, name), mass_kg=1e-12, inertia_kgm2=1e-14)
            for name in ("thigh", "shank", "foot")
        },
    )
    bare, still = shares(weightless), shares(SEGMENTS, 1e-3)
    for joint in full:
        assert abs(still[joint] - bare[joint]) < 8  # weight alone
        assert abs(full[joint] - still[joint]) < 8  # inertia alone
    # Its shares lie between the ends that the range offers for the same torque.
    ends = range_joint_loads(PATH, SEGMENTS, 3.28275, tangential * CRANK_M)
    for joint, share in full.items():
        offered = [joint_work(case.loads).net_shares_pct()[joint] for case in ends.cases]
        assert min(offered) < share < max(offered)


def test_measured_force_points_down_through_the_stroke():
    """From 30° to 165° within 9° of straight down: the line of force passes in front of the knee from 75° on."""
    forward, up = measured_table()
    away = np.degrees(np.arctan2(forward, -up))
    assert np.abs(away[30:166]).max() < 9
    # Where the line through the pedal along the force crosses the height of the knee, forward of it or behind.
    along = PATH.pedal.real + forward / up * (PATH.knee.imag - PATH.pedal.imag)
    assert (along[75:166] > PATH.knee.real[75:166]).all()
    assert effectiveness(
        forward * np.cos(ANGLE) - up * np.sin(ANGLE), forward * np.sin(ANGLE) + up * np.cos(ANGLE)
    ) == (pytest.approx(0.5036, abs=5e-5))
