"""The steady state: quantities that follow rates over crank angle and are the same again after a turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis_lib.mechanics.periodic import integrate_turn
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal

COMPLEX_STEP = 1e-30
MOST_ITERATIONS = 60

Rates = Callable[[NDArray, complex], NDArray]
Measure = Callable[[NDArray], NDArray]


@dataclass(frozen=True)
class SteadyState:
    """States of shape (states, angles) that close after a turn, and the level that makes them keep time."""

    states: FloatArray
    level: float


def solve_steady(
    rates: Rates,
    scales: FloatArray,
    start: FloatArray,
    start_level: float,
    measure: Measure,
    target: float | None,
) -> SteadyState:
    """Solve dy/dθ = scale · rate(y, level) for a periodic y by Newton's method on a turn's integral.

    The unknowns are y at every angle, the mean of each state and, if a target is given, the level:

        y − ȳ − scale · ∫ rate dθ = 0,    mean of each rate = 0,    mean of measure(y) = target.

    Rates and measure at an angle depend on the states at that angle only, so their derivatives are diagonal;
    they are taken by a complex step, which is exact to rounding.

    Parameters
    ----------
    rates : function of (states, level) to rates, both of shape (states, angles)
    scales : array of shape (states,)
        May be zero, for a state that has no time to change within a turn.
    start : array of shape (states, angles), all positive
    start_level : float
        The level to start from; kept where `target` is None.
    measure : function of states to array of shape (angles,)
    target : float or None

    Raises
    ------
    Refusal
        Where the iteration finds no steady state with positive states.
    """
    states, level = start.copy(), start_level
    count, size = states.shape[0], states.size
    integral = integrate_turn_matrix(states.shape[1])
    unknowns = size + count + (target is not None)
    for _ in range(MOST_ITERATIONS):
        residual, jacobian = _linearise(rates, scales, states, level, measure, target, integral, unknowns)
        try:
            step = np.linalg.solve(jacobian, -residual)
        except np.linalg.LinAlgError:
            break
        change = step[:size].reshape(states.shape)
        # Half the distance to zero at most, for states (energies, torques) that must stay positive.
        shrink = min(1.0, 0.5 / max(float(np.max(-change / states)), 1e-300))
        states = states + shrink * change
        if target is not None:
            level += shrink * float(step[-1])
        if not (np.all(np.isfinite(states)) and np.isfinite(level)):
            break
        if shrink == 1.0 and np.max(np.abs(change) / states) < 1e-12:
            return SteadyState(states, level)
    raise Refusal(
        "steady turn",
        "an iteration that does not settle",
        "a stroke, an inertia and a resistance that allow a crank that keeps turning",
        "give more inertia, a resistance that grows with speed, or a torque that falls with speed",
    )


@lru_cache(maxsize=8)
def integrate_turn_matrix(angles: int) -> FloatArray:
    """`integrate_turn` as a matrix: column j is the integral of a turn that is 1 at angle j, else 0; read only."""
    first = integrate_turn(np.eye(1, angles)[0])
    matrix = first[(np.arange(angles)[:, None] - np.arange(angles)[None, :]) % angles]
    matrix.setflags(write=False)
    return matrix


def _linearise(rates, scales, states, level, measure, target, integral, unknowns):
    """Residual and Jacobian of the equations of `solve_steady`."""
    count, angles = states.shape
    size = states.size
    rate = rates(states, level)
    jacobian = np.zeros((unknowns, unknowns))
    jacobian[:size, :size] = np.eye(size)
    for changed in range(count):
        columns = slice(changed * angles, (changed + 1) * angles)
        nudged = states.astype(complex)
        nudged[changed] += 1j * COMPLEX_STEP
        slopes = rates(nudged, level).imag / COMPLEX_STEP
        for row in range(count):
            rows = slice(row * angles, (row + 1) * angles)
            jacobian[rows, columns] -= scales[row] * integral * slopes[row]
            jacobian[size + row, columns] = slopes[row] / angles
        if target is not None:
            jacobian[-1, columns] = measure(nudged).imag / COMPLEX_STEP / angles
    means = states.mean(axis=1)
    residual = np.empty(unknowns)
    for row in range(count):
        rows = slice(row * angles, (row + 1) * angles)
        jacobian[rows, size + row] = -1.0
        residual[rows] = states[row] - means[row] - scales[row] * integral @ rate[row]
        residual[size + row] = rate[row].mean()
    if target is not None:
        by_level = rates(states.astype(complex), level + 1j * COMPLEX_STEP).imag / COMPLEX_STEP
        jacobian[:size, -1] = -(scales[:, None] * (by_level @ integral.T)).ravel()
        jacobian[size : size + count, -1] = by_level.mean(axis=1)
        residual[-1] = measure(states).mean() - target
    return residual, jacobian
