"""A virtual ride: crank angle, speed and torque of one trial, as they truly were."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.study.synthetic.virtual_rider import LegProfile

ANGLES_A_TURN = 360


@dataclass(frozen=True)
class TurnVariation:
    """How turns differ from each other: first-order autoregressive series, one value a turn.

    Attributes
    ----------
    torque_sd : float
        SD of a leg's torque between turns, relative; the two legs vary independently.
    cadence_sd : float
        SD of the duration of a turn, relative.
    phase_sd_deg : float
        SD of the angle at which both legs act, degrees.
    correlation : float
        Correlation of a turn with the one before it.
    """

    torque_sd: float = 0.04
    cadence_sd: float = 0.012
    phase_sd_deg: float = 1.5
    correlation: float = 0.6

    def draw(self, turns: int, sd: float, rng: np.random.Generator) -> FloatArray:
        """Draw one deviation a turn, of mean 0, starting in the steady state.

        x_i = correlation x_{i-1} + sd sqrt(1 - correlation^2) e_i, with e_i standard normal.
        """
        noise = rng.normal(0.0, sd, turns)
        noise[1:] *= np.sqrt(1 - self.correlation**2)
        for turn in range(1, turns):
            noise[turn] += self.correlation * noise[turn - 1]
        return noise


@dataclass(frozen=True)
class Ride:
    """One trial as it truly was, at fine steps of crank angle.

    Attributes
    ----------
    time_s, crank_rad : array
        Time from the start and right-crank angle, unwrapped, at every degree.
    torque : dict of str to array
        "left" and "right" in N m, without any error of a recorder.
    """

    time_s: FloatArray
    crank_rad: FloatArray
    torque: dict[str, FloatArray]

    def power_W(self, start_s: float, end_s: float) -> float:
        """True mean power between two times: work over time, with work the integral of torque over angle."""
        total = self.torque["left"] + self.torque["right"]
        steps = np.diff(self.crank_rad) * (total[1:] + total[:-1]) / 2
        work = np.concatenate([[0.0], np.cumsum(steps)])
        done = np.interp([start_s, end_s], self.time_s, work)
        return float((done[1] - done[0]) / (end_s - start_s))

    def sample(
        self, rate_hz: float, duration_s: float
    ) -> tuple[FloatArray, FloatArray, dict[str, FloatArray]]:
        """Look at the ride at equal times: time, crank angle, and torque by leg."""
        time = np.arange(round(duration_s * rate_hz)) / rate_hz
        crank = np.interp(time, self.time_s, self.crank_rad)
        return (
            time,
            crank,
            {side: np.interp(time, self.time_s, torque) for side, torque in self.torque.items()},
        )


def ride_trial(
    legs: dict[str, LegProfile],
    drivetrain: Drivetrain,
    cadence_rpm: float,
    duration_s: float,
    variation: TurnVariation,
    rng: np.random.Generator,
) -> Ride:
    """Ride one trial.

    Parameters
    ----------
    legs : dict of str to LegProfile
        "left" and "right", each against its own crank angle.
    drivetrain : Drivetrain
        With the ring that is worn: its steady state gives the crank's speed through the turn.
    cadence_rpm, duration_s : float
    variation : TurnVariation
        Its factors are joined up between the middles of turns, so that nothing jumps.
    rng : Generator

    Returns
    -------
    Ride
        It starts at a random crank angle and lasts at least `duration_s`.
    """
    turns = int(np.ceil(duration_s * cadence_rpm / 60 * (1 + 5 * variation.cadence_sd))) + 3
    pace = 1 + variation.draw(turns, variation.cadence_sd, rng)
    vigour = {side: 1 + variation.draw(turns, variation.torque_sd, rng) for side in ("left", "right")}
    lateness = np.radians(variation.draw(turns, variation.phase_sd_deg, rng))
    degree = rng.integers(ANGLES_A_TURN) + np.arange((turns - 2) * ANGLES_A_TURN + 1)
    crank = np.radians(degree.astype(float))
    speed = _steady_speed(legs, drivetrain, cadence_rpm)[degree % ANGLES_A_TURN] * _between_turns(crank, pace)
    acting = crank - _between_turns(crank, lateness)
    torque = {
        side: legs[side].torque(acting + (np.pi if side == "left" else 0.0)) * _between_turns(crank, factors)
        for side, factors in vigour.items()
    }
    steps = np.diff(crank) * (1 / speed[1:] + 1 / speed[:-1]) / 2
    return Ride(np.concatenate([[0.0], np.cumsum(steps)]), crank, torque)


def _steady_speed(legs: dict[str, LegProfile], drivetrain: Drivetrain, cadence_rpm: float) -> FloatArray:
    angle = np.radians(np.arange(ANGLES_A_TURN, dtype=float))
    profile = legs["right"].torque(angle) + legs["left"].torque(angle + np.pi)
    return drivetrain.steady_speed(profile, cadence_rpm)


def _between_turns(crank_rad: FloatArray, by_turn: FloatArray) -> FloatArray:
    """Join up values that belong to the middles of turns."""
    return np.interp(crank_rad / (2 * np.pi) - 0.5, np.arange(by_turn.size), by_turn)
