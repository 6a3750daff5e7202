"""The rider's stroke as draws of its mean turn: from turn to turn, and from period to period."""

from __future__ import annotations

import functools
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.prediction import carry_joint_torques
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.signals.trial import TrialResult
from analysis_lib.statistics.estimates import show_count

FloatArray = NDArray[np.float64]
DRAWS = 1000


@dataclass(frozen=True)
class PeriodStroke:
    """The stroke of one period at one intensity: draws of its mean turn, the mean turn and the cadence."""

    period: int
    draws_Nm: FloatArray
    mean_Nm: FloatArray
    cadence_rpm: float


@dataclass(frozen=True)
class StrokeDraws:
    """Draws of the rider's mean turn by intensity.

    Attributes
    ----------
    torque_Nm : dict of intensity to array of shape (draws, 360)
        Two-leg torque at 0, 1, ... degrees.
    mean_Nm : dict of intensity to array of shape (360,)
        Mean over periods.
    cadence_rpm : dict of intensity to float
    periods : dict of intensity to int
        How many periods each intensity rests on.
    """

    torque_Nm: dict[str, FloatArray]
    mean_Nm: dict[str, FloatArray]
    cadence_rpm: dict[str, float]
    periods: dict[str, int]

    @classmethod
    def joined(cls, parts: Sequence[StrokeDraws]) -> StrokeDraws:
        """Return strokes drawn apart, each at intensities of its own, as one."""
        return cls(
            {name: draws for part in parts for name, draws in part.torque_Nm.items()},
            {name: mean for part in parts for name, mean in part.mean_Nm.items()},
            {name: cadence for part in parts for name, cadence in part.cadence_rpm.items()},
            {name: periods for part in parts for name, periods in part.periods.items()},
        )

    def phases_deg(self) -> dict[str, FloatArray]:
        """Torque phase of every draw by intensity, degrees in [0, 180)."""
        return {name: _phase_deg(torque) for name, torque in self.torque_Nm.items()}

    def shifted(self, shifts_Nm: Mapping[str, FloatArray]) -> StrokeDraws:
        """Return the strokes with a known change of torque added to every draw of some intensities."""
        return StrokeDraws(
            {name: draws + shifts_Nm.get(name, 0.0) for name, draws in self.torque_Nm.items()},
            {name: mean + shifts_Nm.get(name, 0.0) for name, mean in self.mean_Nm.items()},
            self.cadence_rpm,
            self.periods,
        )

    def on_one_period(self, called: Callable[[object], str] = str) -> list[str]:
        """Return what a page calls the intensities at which the stroke rests on one period."""
        return [called(name) for name, count in self.periods.items() if count < 2]

    def sentence(self, called: Callable[[object], str] = str) -> str:
        """What the spread of the draws holds, in words; `called` says what a page calls an intensity."""
        fewest = min(self.periods.values())
        if fewest < 2:
            return (
                f"At {', '.join(self.on_one_period(called))} the stroke rests on one period only: how it differs between"
                " periods is not known, and these intervals are too narrow."
            )
        return (
            f"The intervals include the spread from turn to turn and from period to period ({show_count(fewest, 'period')})"
            + ("; a spread between two periods is itself hardly known." if fewest == 2 else ".")
        )


def draw_strokes(
    strokes: Mapping[str, Sequence[tuple[str, int, TrialResult]]], seed: int, draws: int = DRAWS
) -> StrokeDraws:
    """Draw the rider's mean turn at every intensity.

    Parameters
    ----------
    strokes : dict of intensity to sequence of (trial, period, TrialResult)
    seed : int
        The study's; each trial and each period has a stream of its own.
    draws : int

    Raises
    ------
    Refusal
        A trial whose channels do not tell the torque of both legs, or with a single turn.
    """
    periods = {
        name: [_period_stroke(period, trials, seed, draws) for period, trials in _by_period(here)]
        for name, here in strokes.items()
    }
    return StrokeDraws(
        torque_Nm={name: combine_periods(here, seed) for name, here in periods.items()},
        mean_Nm={name: np.mean([part.mean_Nm for part in here], axis=0) for name, here in periods.items()},
        cadence_rpm={
            name: float(np.mean([part.cadence_rpm for part in here])) for name, here in periods.items()
        },
        periods={name: len(here) for name, here in periods.items()},
    )


def combine_periods(periods: Sequence[PeriodStroke], seed: int) -> FloatArray:
    """Return draws of the mean turn over periods, with the spread between turns and between periods.

    With x̄ⱼ the mean turn of period j of k, x*ⱼ its bootstrap draw and zⱼ standard normal,

        draw = mean of x*ⱼ + Σ zⱼ·(x̄ⱼ − x̄)/√(k(k − 1)),

    so the second term has the covariance S/k of a mean over periods. Resampling whole periods would give
    only (k − 1)/k of it, half for two periods. S already holds some spread of turns, so the draws are, if
    anything, too wide. zⱼ belongs to the period: a good day is a good day at every intensity.
    """
    within = _mean_of([part.draws_Nm for part in periods])
    if len(periods) < 2:
        return within
    means = np.stack([part.mean_Nm for part in periods])
    away = (means - means.mean(axis=0)) / np.sqrt(len(periods) * (len(periods) - 1))
    noise = [np.random.default_rng([seed, 1, part.period]).standard_normal(len(within)) for part in periods]
    return within + np.stack(noise, axis=1) @ away


def round_less_oval_Nm(
    drivetrains: Mapping[str, Drivetrain], stroke: StrokeDraws, intensities: Sequence[str], legs: StatedLegs
) -> dict[str, FloatArray]:
    """Return torque on the round ring less torque on the oval one, for strokes recorded on the oval.

    The joints' torque is held the same at every angle; what the legs' inertia did to the crank torque on the
    oval ring is taken off, and what it would do on the round ring is put on.
    """
    changes = {}
    for name in intensities:
        torque, cadence = stroke.mean_Nm[name], stroke.cadence_rpm[name]
        speed = drivetrains["oval"].steady_speed(torque, cadence)
        on_round, _ = carry_joint_torques(drivetrains["round"], torque, speed, cadence, legs.pair)
        changes[name] = on_round - torque
    return changes


def _by_period(
    trials: Sequence[tuple[str, int, TrialResult]],
) -> list[tuple[int, list[tuple[str, TrialResult]]]]:
    numbers = sorted({period for _, period, _ in trials})
    return [(number, [(trial, result) for trial, at, result in trials if at == number]) for number in numbers]


def _period_stroke(period: int, trials: list[tuple[str, TrialResult]], seed: int, draws: int) -> PeriodStroke:
    each = [result.torque_draws(draws, _stream(seed, trial)) for trial, result in trials]
    return PeriodStroke(
        period,
        _mean_of(each),
        np.mean([result.torque_at_angles() for _, result in trials], axis=0),
        float(np.mean([result.value("cadence_rpm") for _, result in trials])),
    )


def _mean_of(draws: Sequence[FloatArray]) -> FloatArray:
    """Mean over sets of draws, draw by draw; a single set is its own mean, and is not copied."""
    return draws[0] if len(draws) == 1 else functools.reduce(np.add, draws) / len(draws)


def _stream(seed: int, trial: str) -> int:
    """A seed of the trial's own, so that trials of equal length are not resampled alike."""
    return int(np.random.SeedSequence([seed, zlib.crc32(trial.encode())]).generate_state(1)[0])


def _phase_deg(torque_Nm: FloatArray) -> FloatArray:
    second = np.fft.rfft(torque_Nm, axis=-1)[..., 2]
    return (-np.degrees(np.angle(second)) / 2) % 180.0
