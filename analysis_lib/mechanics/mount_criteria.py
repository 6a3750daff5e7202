"""The mounting criteria: each as a curve over mount angle, with what the rider's turns decide."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mount_losses import CRITERIA, mount_losses, turn_ring
from analysis_lib.mechanics.mounting import check_mounts
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import check_level

SMALLEST_THAT_MATTERS = {
    "arm at the torque phase": 0.005,
    "crank speed": 0.005,
    "peak force": 0.02,
    "dead centres": 0.005,
}
"""Difference of loss below which two mountings count as the same: conventions, without a source."""

METHOD = (
    "Losses of drawn turns, which hold the declared error of the crank angle, averaged over intensities; speeds to "
    "first order in their swing. Regret of a "
    "mounting: its loss less that of the best available one in the same draw. A mounting will do if the "
    "upper bound of its regret is no more than the smallest difference that matters. The criteria need not "
    "agree: none has been shown to predict performance."
)

ANY, ONE, UNDECIDED = "any of these", "this one", "not decided"


@dataclass(frozen=True)
class MountCriteria:
    """Every criterion over mount angle, and the verdict on the available mountings.

    Attributes
    ----------
    curves : DataFrame
        One row a criterion and mount angle: ``criterion, mount_deg, loss, low, high, flat``; ``flat`` is true
        where the mean loss is within the smallest difference that matters of the lowest.
    mountings : DataFrame
        One row a criterion and available mounting: ``criterion, mount_deg, loss, probability_best, regret,
        regret_high, will_do``.
    verdicts : DataFrame
        One row a criterion: ``criterion, verdict, mounts_deg, best_mount_deg, smallest_that_matters``; the
        verdict is "any of these", "this one" or "not decided".
    best_by_intensity : DataFrame
        One row a criterion: ``criterion``, and a column an intensity with the available mounting of least loss there.
    level : float
    n_draws : int
    method : str
    """

    curves: pd.DataFrame
    mountings: pd.DataFrame
    verdicts: pd.DataFrame
    best_by_intensity: pd.DataFrame
    level: float
    n_draws: int
    method: str = METHOD

    def sentence(self, criterion: str) -> str:
        """The verdict on one criterion in words."""
        row = self.verdicts.set_index("criterion").loc[criterion]
        angles = ", ".join(f"{mount:g}°" for mount in row["mounts_deg"])
        start = f"By {criterion} ({CRITERIA[criterion]})"
        if row["verdict"] == UNDECIDED:
            return (
                f"{start} the draws do not decide between the available mountings: record more turns, or find where"
                " the crank angle is zero more closely."
            )
        choice = (
            f"any of {angles} will do" if row["verdict"] == ANY else f"the mounting at {angles} is the one"
        )
        return (
            f"{start} {choice}: loss within {row['smallest_that_matters']:g} of the best available "
            f"({100 * self.level:g} % bound)."
        )


def compare_mounts(
    drivetrain: Drivetrain,
    torque_draws_Nm: Mapping[str, ArrayLike],
    mean_cadence_rpm: Mapping[str, float],
    available_mounts_deg: Sequence[float],
    level: float = 0.95,
    smallest_that_matters: Mapping[str, float] = SMALLEST_THAT_MATTERS,
) -> MountCriteria:
    """Compare mount angles by every criterion, from draws of the rider's mean turn.

    A later torque asks for a smaller mount angle, by every criterion alike, so draws that are turned by the error of the
    crank angle carry its uncertainty into losses, regrets and probabilities.

    Parameters
    ----------
    drivetrain : Drivetrain
        With the oval ring; its own mount angle does not matter.
    torque_draws_Nm : dict of intensity to array of shape (draws, angles)
        Draws of the mean two-leg torque, equally many at every intensity.
    mean_cadence_rpm : dict of intensity to float
    available_mounts_deg : sequence of float
    level : float
        Of the pointwise intervals and, one-sided, of the bound on regret.
    smallest_that_matters : dict of criterion to float
        In the unit of each loss (see `CRITERIA`).

    Raises
    ------
    Refusal
        A round ring, draws that do not match, a cadence or a difference that is missing.
    """
    if drivetrain.ring.is_round:
        raise Refusal(
            "ring to be mounted", "a round ring", "an oval ring", "every mounting of it is the same"
        )
    draws = _check_draws(torque_draws_Nm, mean_cadence_rpm, level)
    mounts = check_mounts(available_mounts_deg)
    _check_matters(smallest_that_matters)
    angles = next(iter(draws.values())).shape[1]
    ring = turn_ring(drivetrain, angles)
    grid = np.arange(0.0, 180.0)
    everywhere = np.radians(np.concatenate([grid, mounts]))
    total: dict[str, FloatArray] = {}
    best: dict[str, list] = {"criterion": list(CRITERIA)}
    for name, torque in draws.items():
        found = mount_losses(ring, torque, mean_cadence_rpm[name], everywhere)
        best[name] = [_best_mount(found[criterion], mounts) for criterion in CRITERIA]
        total = {key: np.add(total[key], found[key], out=total[key]) for key in CRITERIA} if total else found
    curves, table, verdicts = [], [], []
    for criterion, losses in total.items():
        losses /= len(draws)
        matters = smallest_that_matters[criterion]
        curves.append(_curve(criterion, grid, losses[:, : grid.size], level, matters))
        rows = _mountings(criterion, mounts, losses[:, grid.size :], level, matters)
        table.append(rows)
        verdicts.append(_verdict(criterion, rows, matters))
    return MountCriteria(
        curves=pd.concat(curves, ignore_index=True),
        mountings=pd.concat(table, ignore_index=True),
        verdicts=pd.DataFrame(verdicts),
        best_by_intensity=pd.DataFrame(best),
        level=level,
        n_draws=len(next(iter(draws.values()))),
    )


def _best_mount(losses: FloatArray, mounts: FloatArray) -> float:
    """The available mounting of least mean loss; the losses of the available ones stand last."""
    return mounts[losses[:, -mounts.size :].mean(axis=0).argmin()]


def _curve(
    criterion: str, grid: FloatArray, losses: FloatArray, level: float, matters: float
) -> pd.DataFrame:
    low, high = np.quantile(losses, [(1 - level) / 2, (1 + level) / 2], axis=0)
    mean = losses.mean(axis=0)
    return pd.DataFrame(
        {
            "criterion": criterion,
            "mount_deg": grid,
            "loss": mean,
            "low": low,
            "high": high,
            "flat": mean <= mean.min() + matters,
        }
    )


def _mountings(
    criterion: str, mounts: FloatArray, losses: FloatArray, level: float, matters: float
) -> pd.DataFrame:
    regret = losses - losses.min(axis=1, keepdims=True)
    bound = np.quantile(regret, level, axis=0)
    best = np.bincount(np.argmin(losses, axis=1), minlength=mounts.size) / len(losses)
    return pd.DataFrame(
        {
            "criterion": criterion,
            "mount_deg": mounts,
            "loss": losses.mean(axis=0),
            "probability_best": best,
            "regret": regret.mean(axis=0),
            "regret_high": bound,
            "will_do": bound <= matters,
        }
    )


def _verdict(criterion: str, rows: pd.DataFrame, matters: float) -> dict[str, object]:
    will_do = rows.loc[rows["will_do"], "mount_deg"].tolist()
    verdict = UNDECIDED if not will_do else ONE if len(will_do) == 1 else ANY
    return {
        "criterion": criterion,
        "verdict": verdict,
        "mounts_deg": will_do,
        "best_mount_deg": float(rows["mount_deg"].to_numpy()[rows["loss"].to_numpy().argmin()]),
        "smallest_that_matters": matters,
    }


def _check_draws(
    torque_draws_Nm: Mapping[str, ArrayLike], mean_cadence_rpm: Mapping[str, float], level: float
) -> dict[str, FloatArray]:
    check_level(level)
    draws = {name: np.asarray(torque, dtype=float) for name, torque in torque_draws_Nm.items()}
    shapes = {torque.shape for torque in draws.values()}
    shape = next(iter(shapes), ())
    fewest = math.ceil(10 / (1 - level))
    if len(shapes) != 1 or len(shape) != 2 or shape[0] < fewest or shape[1] < 8:
        raise Refusal(
            "torque_draws_Nm",
            ", ".join(f"{name}: shape {torque.shape}" for name, torque in draws.items()) or "no intensity",
            f"(draws, angles) with at least {fewest} draws, the same at every intensity",
            "draw the mean turn again with the same number of draws and angles",
        )
    for name, torque in draws.items():
        if not np.all(np.isfinite(torque)) or torque.mean(axis=1).min() <= 0:
            raise Refusal(
                f"torque_draws_Nm, intensity {name}",
                "missing values, or a mean torque that does not drive",
                "finite turns with a positive mean",
                "check the zero torque of the trial, or leave out the intensity",
            )
        cadence = mean_cadence_rpm.get(name, math.nan)
        if not (math.isfinite(cadence) and cadence > 0):
            raise Refusal(
                f"mean_cadence_rpm, intensity {name}", repr(cadence), "more than 0", "give turns per minute"
            )
    return draws


def _check_matters(smallest_that_matters: Mapping[str, float]) -> None:
    given = dict(smallest_that_matters)
    if set(given) != set(CRITERIA) or not all(value > 0 for value in given.values()):
        raise Refusal(
            "smallest_that_matters",
            repr(given),
            f"a value above 0 for each of {', '.join(CRITERIA)}",
            "decide before looking at the data which difference would change the mounting",
        )
