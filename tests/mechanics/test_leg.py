import math

import numpy as np
import pytest
from scipy.optimize import fsolve

from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.segments import leg_segments
from analysis_lib.refusals import Refusal

GEOMETRY = LegGeometry(0.170, 0.42, 0.43, 0.14, hip_behind_m=0.20, hip_above_m=0.68)
PITCH = ankling(360, 18.0, 20.0, 285.0)
PATH = follow_leg(GEOMETRY, PITCH)


def close_loop(crank, pitch, start):
    """Thigh and shank angle that close hip–knee–ankle–pedal–crank, by a general root finder."""

    def gap(angles):
        thigh, shank = angles
        x = -0.20 + 0.42 * math.cos(thigh) + 0.43 * math.cos(shank) + 0.14 * math.cos(-pitch)
        y = 0.68 + 0.42 * math.sin(thigh) + 0.43 * math.sin(shank) + 0.14 * math.sin(-pitch)
        return [x - 0.170 * math.sin(crank), y - 0.170 * math.cos(crank)]

    return fsolve(gap, start, xtol=1e-13)


@pytest.mark.parametrize("degree", [0, 45, 90, 133, 180, 251, 300])
def test_linkage_closes_where_a_root_finder_closes_it(degree):
    crank = math.radians(degree)
    # Thigh forward of straight down and shank behind it: the knee bends as knees do.
    thigh, shank = close_loop(crank, PITCH[degree], [-0.4, -1.9])
    assert PATH.thigh_rad[degree] == pytest.approx(thigh, abs=1e-9)
    assert PATH.shank_rad[degree] == pytest.approx(shank, abs=1e-9)


def test_lengths_stay():
    assert np.abs(PATH.knee - PATH.hip) == pytest.approx(np.full(360, 0.42))
    assert np.abs(PATH.ankle - PATH.knee) == pytest.approx(np.full(360, 0.43))
    assert np.abs(PATH.pedal - PATH.ankle) == pytest.approx(np.full(360, 0.14))
    assert PATH.pedal[[0, 90, 180]] == pytest.approx([0.170j, 0.170, -0.170j])


def test_joint_angles_mean_what_their_names_say():
    assert np.all(PATH.knee_flexion_rad > 0)
    assert np.all(PATH.knee.real > np.minimum(PATH.ankle.real, PATH.hip.real))
    # A straight-down thigh has no hip flexion; law of cosines gives the knee from hip to ankle.
    distance = np.abs(PATH.ankle - PATH.hip)
    inner = np.arccos((0.42**2 + 0.43**2 - distance**2) / (2 * 0.42 * 0.43))
    assert PATH.knee_flexion_rad == pytest.approx(math.pi - inner)
    assert PATH.hip_flexion_rad == pytest.approx(np.arctan2(PATH.knee.real + 0.20, 0.68 - PATH.knee.imag))
    # Foot at right angles to the shank is neutral; more pitch at the same shank is plantarflexion.
    assert PATH.ankle_plantarflexion_rad == pytest.approx(PATH.shank_rad + PITCH + math.pi / 2)
    # Seated cycling: knee flexion between about 25 and 115 degrees (plausibility only).
    assert np.degrees(PATH.knee_flexion_rad).min() > 20
    assert np.degrees(PATH.knee_flexion_rad).max() < 120


def test_joint_rates_are_the_velocities_of_the_closed_loop():
    """Implicit derivative of the two closing equations, solved as a linear system at each angle."""
    pitch_rate = -math.radians(20.0) * np.sin(np.radians(np.arange(360) - 285.0))
    for degree in (10, 100, 200, 290):
        thigh, shank, foot = PATH.thigh_rad[degree], PATH.shank_rad[degree], -PITCH[degree]
        crank = math.radians(degree)
        matrix = [
            [-0.42 * math.sin(thigh), -0.43 * math.sin(shank)],
            [0.42 * math.cos(thigh), 0.43 * math.cos(shank)],
        ]
        foot_rate = -pitch_rate[degree]
        right = [
            0.170 * math.cos(crank) + 0.14 * math.sin(foot) * foot_rate,
            -0.170 * math.sin(crank) - 0.14 * math.cos(foot) * foot_rate,
        ]
        thigh_rate, shank_rate = np.linalg.solve(matrix, right)
        expected = [thigh_rate, thigh_rate - shank_rate, shank_rate - foot_rate]
        assert PATH.joint_rates()[:, degree] == pytest.approx(expected, abs=1e-9)


def test_refuses_legs_that_do_not_reach():
    with pytest.raises(Refusal, match="from hip to ankle"):
        follow_leg(LegGeometry(0.170, 0.30, 0.30, 0.14, 0.20, 0.68), PITCH)
    with pytest.raises(Refusal, match="leg geometry"):
        LegGeometry(170.0, 0.42, 0.43, 0.14, 0.20, 0.68)
    with pytest.raises(Refusal, match="foot_pitch_rad"):
        follow_leg(GEOMETRY, [0.1])


# de Leva 1996, Table 4 (as read in four implementations that agree) and Winter after Dempster (recalled):
# mass fraction, centre of mass from the proximal joint, radius of gyration.
@pytest.mark.parametrize(
    ("table", "sex", "segment", "mass", "centre", "gyration"),
    [
        ("de Leva 1996", "male", "thigh", 0.1416, 0.4095, 0.329),
        ("de Leva 1996", "female", "thigh", 0.1478, 0.3612, 0.364),
        ("de Leva 1996", "male", "shank", 0.0433, 0.4459, 0.249),
        ("de Leva 1996", "female", "shank", 0.0481, 0.4416, 0.267),
        ("Winter", None, "thigh", 0.100, 0.433, 0.323),
        ("Winter", None, "shank", 0.0465, 0.433, 0.302),
    ],
)
def test_segment_tables(table, sex, segment, mass, centre, gyration):
    leg = leg_segments(table, 75.0, 0.42, 0.43, 0.14, sex, None if sex is None else 0.26)
    found = getattr(leg, segment)
    assert found.mass_kg == pytest.approx(75 * mass)
    assert found.centre == centre
    assert found.inertia_kgm2 == pytest.approx(75 * mass * (gyration * found.length_m) ** 2)


def test_whole_legs_of_both_tables():
    """Leg over body: .161 by Winter, .1986 by de Leva (male); thighs of 75 kg: 7.50 and 10.62 kg."""
    winter = leg_segments("Winter", 75.0, 0.42, 0.43, 0.14)
    de_leva = leg_segments("de Leva 1996", 75.0, 0.42, 0.43, 0.14, "male", 0.26)
    assert winter.mass_kg / 75 == pytest.approx(0.161)
    assert de_leva.mass_kg / 75 == pytest.approx(0.1986)
    assert (winter.thigh.mass_kg, de_leva.thigh.mass_kg) == pytest.approx((7.50, 10.62))
    assert (winter.source, de_leva.source) == ("Winter", "de Leva 1996, male")
    # The foot's radius of gyration refers to its whole length: 0.245 · 0.26 m.
    assert de_leva.foot.inertia_kgm2 == pytest.approx(75 * 0.0137 * (0.245 * 0.26) ** 2)
    assert winter.foot.inertia_kgm2 == pytest.approx(75 * 0.0145 * (0.475 * 0.14) ** 2)


def test_gyration_about_the_joint_by_steiner():
    """Winter prints radii about both ends too (recalled): thigh 0.540 proximal, 0.653 distal."""
    thigh = leg_segments("Winter", 75.0, 0.42, 0.43, 0.14).thigh
    central = thigh.inertia_kgm2 / thigh.mass_kg / 0.42**2
    assert math.sqrt(central + 0.433**2) == pytest.approx(0.540, abs=0.0006)
    assert math.sqrt(central + 0.567**2) == pytest.approx(0.653, abs=0.0006)


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (("Zatsiorsky", 75.0, 0.42, 0.43, 0.14), "segment table"),
        (("de Leva 1996", 75.0, 0.42, 0.43, 0.14), "sex"),
        (("Winter", 75.0, 0.42, 0.43, 0.14, "male"), "sex"),
        (("de Leva 1996", 75.0, 0.42, 0.43, 0.14, "male"), "foot_length_m"),
        (("de Leva 1996", 75.0, 0.42, 0.43, 0.14, "male", 26.0), "foot_length_m"),
        (("Winter", 7500.0, 0.42, 0.43, 0.14), "body_mass_kg"),
        (("Winter", 75.0, 420.0, 0.43, 0.14), "thigh_m"),
    ],
)
def test_segment_refusals(arguments, match):
    with pytest.raises(Refusal, match=match):
        leg_segments(*arguments)
