"""The crank angle's declared uncertainty as a part of the wanted mount: one error that a rider's trials have in common.

The mount is set by hand, from the crank arm to the ring's major axis, and no sensor takes part in it. The torque phase
is read through the angle sensor: with its zero off by z and the torque late by d, a stroke centred on P is recorded at

    P + z + 6·n·d        degrees, n the cadence in rpm,

and the mount that would meet it is too small by just as much. So the error counts in full. It would cancel only where
both were read through the one sensor, as where the ring's own angle were taken from the swing of the recorded crank
speed, and then of its zero alone; nothing here does that. A stroke that was carried over from the oval ring is
no exception, for the mount that was ridden is the one set by hand. Between intensities, periods and rings of one
recorder the zero cancels, and of the delay all but a difference of cadence: there the draws of an error are the same.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from analysis_lib.mechanics.periodic import look_ahead
from analysis_lib.signals.measurement_budget import DEG_PER_S_PER_RPM
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.corrections.trial_budget import ANGLE_ZERO, DECLARED, DELAY, undeclared_inputs
from analysis_lib.study.declared.recorder_map import RecorderMap

FloatArray = NDArray[np.float64]
IN_WORDS = dict(
    zip(
        (ANGLE_ZERO, DELAY),
        (DECLARED["angle_zero_uncertainty_deg"], DECLARED["delay_uncertainty_ms"]),
        strict=True,
    )
)
"""What a page calls the two inputs, by their names in a trial's budget."""


@dataclass(frozen=True)
class AngleErrors:
    """Draws of the error of the crank angle, and what they rest on.

    Attributes
    ----------
    draws_deg : dict of intensity to array of shape (draws,)
        How much later than it was the torque phase may be recorded; none where all of it counts as exact.
    uncertainty_deg : dict of input to float
        Standard uncertainty that each adds to the wanted mount over intensities; NaN where no recorder declares it.
    undeclared : dict of recorder to list of input
        What some recorder does not declare, so that it counts as exact.
    """

    draws_deg: dict[str, FloatArray] = field(default_factory=dict)
    uncertainty_deg: dict[str, float] = field(default_factory=dict)
    undeclared: dict[str, list[str]] = field(default_factory=dict)

    @property
    def total_deg(self) -> float:
        """Standard uncertainty of the wanted mount from all declared inputs together."""
        return math.hypot(*(part for part in self.uncertainty_deg.values() if not math.isnan(part)))

    def taken_from(self, phases_deg: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return draws of the torque phase less the draws of its error, degrees in [0, 180)."""
        return {
            name: (phase - self.draws_deg[name]) % 180.0 if name in self.draws_deg else phase
            for name, phase in phases_deg.items()
        }

    def turned_back(self, torque_Nm: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return draws of the mean turn, each turned back by a draw of the error."""
        return {
            name: look_ahead(turns, np.radians(self.draws_deg[name])) if name in self.draws_deg else turns
            for name, turns in torque_Nm.items()
        }

    def lacks(self) -> list[str]:
        """Name what counts as exact only because nothing tells its uncertainty, recorder by recorder."""
        return [
            f"of recorder {name} study.toml does not declare how uncertain {' and '.join(IN_WORDS[part] for part in parts)}"
            f" {'is' if len(parts) == 1 else 'are'}"
            for name, parts in self.undeclared.items()
        ]

    def sentences(self) -> list[str]:
        """Say how the crank angle's uncertainty reaches the mount, and what of it is not known."""
        words = []
        if self.total_deg > 0:
            words.append(
                f"All trials share the errors of where the crank angle is zero and of how late torque comes, so more"
                f" turns do not lessen them: a standard uncertainty of {show_number(self.total_deg, 1)}°, as study.toml"
                " declares them. The mount is set by hand on the crank arm and the torque phase read through the"
                " sensor, so they reach the wanted mount in full, its interval and the shares of draws."
            )
        words += [
            f"{said[0].upper()}{said[1:]}: it counts as exact, and these intervals are too narrow."
            for said in self.lacks()
        ]
        return words


def draw_angle_errors(
    recorders: Mapping[str, RecorderMap],
    trials: Mapping[str, pd.DataFrame],
    cadence_rpm: Mapping[str, float],
    seed: int,
    rider: str,
    draws: int,
) -> AngleErrors:
    """Draw the error of the crank angle that the trials of a rider's stroke have in common.

    Zero and delay of a recorder are drawn once, as normal scores in a random order: they have the mean zero that a
    declared uncertainty states, so the wanted mount itself moves by no luck of drawing (McKay et al. 1979,
    Technometrics 21:239, stratified sampling). Several recorders are drawn independently, each by its share of
    the trials, a period counting as a whole as it does in the mean turn.

    Parameters
    ----------
    recorders : dict of recorder to RecorderMap
    trials : dict of intensity to DataFrame
        The trials of the stroke: ``period, recorder``.
    cadence_rpm : dict of intensity to float
    seed : int
        The study's; each rider and recorder has a stream of its own.
    rider : str
    draws : int
    """
    shares = {name: _shares(rows) for name, rows in trials.items()}
    used = list(dict.fromkeys(recorder for share in shares.values() for recorder in share))
    errors = {name: np.zeros(draws) for name in trials}
    variances = dict.fromkeys(IN_WORDS, 0.0)
    for recorder in used:
        rng = np.random.default_rng([seed, 2, zlib.crc32(rider.encode()), zlib.crc32(recorder.encode())])
        for part in IN_WORDS:
            scores = _normal_scores(draws, rng)
            each = {
                name: share.get(recorder, 0.0)
                * _uncertainty_deg(part, recorders[recorder], cadence_rpm[name])
                for name, share in shares.items()
            }
            for name, uncertainty in each.items():
                errors[name] += uncertainty * scores
            variances[part] += float(np.mean(list(each.values()))) ** 2
    missing = {name: undeclared_inputs(recorders[name]) & set(IN_WORDS) for name in used}
    unknown = set.intersection(*missing.values())
    return AngleErrors(
        {name: error for name, error in errors.items() if error.any()},
        {part: math.nan if part in unknown else math.sqrt(found) for part, found in variances.items()},
        {name: [part for part in IN_WORDS if part in parts] for name, parts in missing.items() if parts},
    )


def _uncertainty_deg(part: str, recorder: RecorderMap, cadence_rpm: float) -> float:
    """Standard uncertainty of the torque phase from the zero of the angle, or from the delay; none if undeclared."""
    if part == ANGLE_ZERO:
        return recorder.angle_zero_uncertainty_deg or 0.0
    return DEG_PER_S_PER_RPM * cadence_rpm * (recorder.delay_uncertainty_ms or 0.0) / 1000


def _shares(trials: pd.DataFrame) -> dict[str, float]:
    """Share of each recorder in a mean over periods of the means over their trials."""
    periods = trials["period"].nunique()
    within = trials.groupby("period")["recorder"].value_counts(normalize=True)
    return {
        str(name): float(share) / periods
        for name, share in within.groupby("recorder", sort=False).sum().items()
    }


def _normal_scores(count: int, rng: np.random.Generator) -> FloatArray:
    """Return the middles of equally likely parts of the standard normal distribution, in a random order."""
    return np.asarray(special.ndtri((rng.permutation(count) + 0.5) / count))
