"""Five-bar kinematics and inverse dynamics against derivations done symbolically by sympy."""

import math

import numpy as np
import pytest

from analysis_lib.mechanics.inverse_dynamics import solve_joint_loads
from analysis_lib.mechanics.leg import LegGeometry, ankling, follow_leg
from analysis_lib.mechanics.segments import leg_segments

sympy = pytest.importorskip("sympy")

TURN = np.arange(360) * 2 * math.pi / 360
GEOMETRY = LegGeometry(0.170, 0.42, 0.43, 0.14, hip_behind_m=0.20, hip_above_m=0.68)
PATH = follow_leg(GEOMETRY, ankling(360, 18.0, 20.0, 285.0))
SEGMENTS = leg_segments("de Leva 1996", 75.0, 0.42, 0.43, 0.14, "male", 0.26)
TANGENTIAL = 90.0 + 150.0 * np.cos(TURN - math.radians(100)) + 20.0 * np.sin(2 * TURN)
RADIAL = 10.0 - 115.0 * np.cos(TURN - 0.1)
SPEED = 9.0 * (1 + 0.08 * np.cos(2 * TURN) + 0.02 * np.sin(2 * TURN))


@pytest.mark.parametrize("degree", [0, 60, 135, 200, 310])
def test_the_loop_closes_by_newtons_method_of_an_independent_library(degree):
    """The two closing equations of hip–knee–ankle–pedal–crank, solved by sympy's nsolve to 30 digits."""
    thigh, shank = sympy.symbols("thigh shank")
    crank = math.radians(degree)
    pitch = math.radians(18.0 + 20.0 * math.cos(math.radians(degree - 285.0)))
    across = (
        -0.20
        + 0.42 * sympy.cos(thigh)
        + 0.43 * sympy.cos(shank)
        + 0.14 * math.cos(pitch)
        - 0.170 * math.sin(crank)
    )
    upward = (
        0.68
        + 0.42 * sympy.sin(thigh)
        + 0.43 * sympy.sin(shank)
        - 0.14 * math.sin(pitch)
        - 0.170 * math.cos(crank)
    )
    found = sympy.nsolve([across, upward], [thigh, shank], [-0.4, -1.9], prec=30)
    assert PATH.thigh_rad[degree] == pytest.approx(float(found[0]), abs=1e-9)
    assert PATH.shank_rad[degree] == pytest.approx(float(found[1]), abs=1e-9)


@pytest.fixture(scope="module")
def generalised_forces():
    """Lagrange's equations of thigh, shank and foot hung from the hip, derived symbolically.

    Coordinates are the absolute angles of the segments; L = T − V; the pedal force enters by virtual work.
    """
    time = sympy.Symbol("t")
    angles = [sympy.Function(name)(time) for name in ("a", "b", "c")]
    lengths = (0.42, 0.43, 0.14)
    bodies = (SEGMENTS.thigh, SEGMENTS.shank, SEGMENTS.foot)
    x = y = sympy.Integer(0)
    energy = 0
    for angle, length, body in zip(angles, lengths, bodies, strict=True):
        here = (x + body.centre * length * sympy.cos(angle), y + body.centre * length * sympy.sin(angle))
        speed = sum(sympy.diff(part, time) ** 2 for part in here)
        energy += body.mass_kg * speed / 2 + body.inertia_kgm2 * sympy.diff(angle, time) ** 2 / 2
        energy -= body.mass_kg * 9.80665 * here[1]
        x, y = x + length * sympy.cos(angle), y + length * sympy.sin(angle)
    forward, up = sympy.symbols("forward up")
    rates = [sympy.diff(angle, time) for angle in angles]
    forces = [
        sympy.diff(sympy.diff(energy, rate), time)
        - sympy.diff(energy, angle)
        - (forward * sympy.diff(x, angle) + up * sympy.diff(y, angle))
        for angle, rate in zip(angles, rates, strict=True)
    ]
    plain = sympy.symbols("q0:3 v0:3 w0:3")
    named = [sympy.diff(angle, time, 2) for angle in angles] + rates + angles
    symbols = [*plain[6:], *plain[3:6], *plain[:3]]
    ready = [force.subs(list(zip(named, symbols, strict=True))) for force in forces]
    return sympy.lambdify([*plain, forward, up], ready)


def angle_rate_and_acceleration(values):
    """A segment's angle with its first and second derivative by time, θ moving at SPEED: Fourier series, exact here."""
    spectrum = np.fft.rfft(values)
    order = np.arange(spectrum.size)
    slope, bend = (np.fft.irfft(spectrum * (1j * order) ** power, n=360) for power in (1, 2))
    speed_slope = np.fft.irfft(np.fft.rfft(SPEED) * 1j * order, n=360)
    return values, slope * SPEED, bend * SPEED**2 + slope * speed_slope * SPEED


def test_newton_and_euler_agree_with_a_symbolic_lagrangian(generalised_forces):
    loads = solve_joint_loads(PATH, SEGMENTS, SPEED, TANGENTIAL, RADIAL)
    parts = [
        angle_rate_and_acceleration(values) for values in (PATH.thigh_rad, PATH.shank_rad, PATH.foot_rad)
    ]
    states = [part[order] for order in range(3) for part in parts]
    # The foot's force on the pedal is tangential along the crank's motion; the pedal's on the foot is its opposite.
    on_foot = -(TANGENTIAL + 1j * RADIAL) * np.exp(-1j * TURN)
    first, second, third = generalised_forces(*states, on_foot.real, on_foot.imag)
    ankle = third
    knee = second + ankle
    hip = first + knee
    # Extension counts as positive in the library: against the angle at hip and ankle, with it at the knee.
    assert loads.ankle_Nm == pytest.approx(-ankle, abs=1e-6)
    assert loads.knee_Nm == pytest.approx(knee, abs=1e-6)
    assert loads.hip_Nm == pytest.approx(-hip, abs=1e-6)
