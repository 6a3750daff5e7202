"""The mounting: at which of the available angles an oval ring's largest arm meets a rider's torque phase."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.estimates import check_level, show_number

WIDEST_USEFUL_DEG = 90.0
"""An interval as wide as half of all axes does not tell one mounting from the one across it."""

METHOD = (
    "Target: largest lever arm at the rider's torque phase (common practice, not shown to be best). "
    "Torque phase at each intensity: axial mean of its draws with percentile interval of the axial "
    "deviations; over intensities: their axial mean, draw by draw, each intensity weighted alike. "
    "Intensities agree where the Bonferroni-adjusted percentile interval of no difference leaves out zero. "
    "Probability that a mounting is nearest: share of the draws over intensities."
)


@dataclass(frozen=True)
class MountAdvice:
    """Which mounting puts the ring's largest lever arm at the rider's torque phase, and how sure that is.

    Attributes
    ----------
    by_intensity : DataFrame
        One row an intensity: ``intensity, torque_phase_deg, torque_phase_low_deg, torque_phase_high_deg,
        mount_deg, mount_low_deg, mount_high_deg``. Angles lie in [0, 180); ends of intervals run on from
        their angle without wrapping, so low ≤ angle ≤ high always.
    overall_phase_deg, overall_mount_deg : float
        Over intensities: torque phase and the mount angle that meets it exactly, in [0, 180).
    overall_phase_interval_deg, overall_mount_interval_deg : (float, float)
    intensities_agree : bool or None
        None where there is one intensity only.
    probabilities : DataFrame
        One row an available mounting, in the order given: ``mount_deg, probability_nearest``.
    nearest_mount_deg : float
        The available mounting nearest to `overall_mount_deg`.
    level : float
    n_draws : int
    holds : str
        What the spread of the draws holds, in words; empty where nothing was said of it.
    lacks : tuple of str
        What is known to be missing from it, in words: then the intervals are too narrow.
    method : str
    """

    by_intensity: pd.DataFrame
    overall_phase_deg: float
    overall_phase_interval_deg: tuple[float, float]
    overall_mount_deg: float
    overall_mount_interval_deg: tuple[float, float]
    intensities_agree: bool | None
    probabilities: pd.DataFrame
    nearest_mount_deg: float
    level: float
    n_draws: int
    holds: str = ""
    lacks: tuple[str, ...] = ()
    method: str = METHOD

    @property
    def is_determined(self) -> bool:
        """Whether the interval of the torque phase is narrower than 90 degrees."""
        low, high = self.overall_phase_interval_deg
        return high - low < WIDEST_USEFUL_DEG

    def sentence(self) -> str:
        """The advice in words, with what would weaken it."""
        low, high = self.overall_phase_interval_deg
        holds = f" that hold {self.holds}" if self.holds else ""
        phase = (
            f"The torque phase is {self.overall_phase_deg:.1f}° "
            f"({100 * self.level:g} % interval {show_number(low, 1)} to {show_number(high, 1)}; "
            f"{self.n_draws} bootstrap draws{holds})"
        )
        if not self.is_determined:
            return f"{phase}, too uncertain to choose a mounting: record more turns before choosing."
        wanted = f"{phase}; the largest lever arm meets it at a mount angle of {self.overall_mount_deg:.1f}°."
        return " ".join(filter(None, (wanted, self._nearest(), self._too_narrow(), self._agreement())))

    def _nearest(self) -> str:
        if len(self.probabilities) == 1:
            return f"The ring's only mount is at {self.nearest_mount_deg:g}°."
        nearest = self.probabilities["mount_deg"] == self.nearest_mount_deg
        share = float(self.probabilities.loc[nearest, "probability_nearest"].iloc[0])
        return (
            f"The nearest available mounting is {self.nearest_mount_deg:g}°"
            f" (nearest in {_percent(share)} of draws)."
        )

    def _too_narrow(self) -> str:
        """What is missing from interval and share, and how little would make another mounting the nearest."""
        if not self.lacks:
            return ""
        missing = "; ".join(self.lacks)
        if len(self.probabilities) == 1:
            return f"This interval is too narrow: {missing}."
        away = np.abs(axial_change_deg(self.probabilities["mount_deg"].to_numpy() - self.overall_mount_deg))
        next_best = int(np.argsort(away, kind="stable")[1])
        margin = (away[next_best] - away.min()) / 2
        other = f"{self.probabilities['mount_deg'][next_best]:g}°"
        return (
            "This interval is too narrow, so this share, and which mounts will do, are said with too much certainty:"
            f" {missing}. Once the wanted mount is off by {show_number(margin, 1)}°, {other} may be the nearest."
        )

    def _agreement(self) -> str:
        if self.intensities_agree is None:
            return "Only one intensity was measured."
        if self.intensities_agree:
            return "The intensities agree within their uncertainty."
        compromise = "" if len(self.probabilities) == 1 else ", so this mounting is a compromise"
        return f"The intensities differ by more than their uncertainty{compromise}."


def _percent(share: float) -> str:
    """A share of draws in words that never claim certainty."""
    if share > 0.99:
        return "more than 99 %"
    return "fewer than 1 %" if share < 0.01 else f"{100 * share:.0f} %"


def advise_mount(
    drivetrain: Drivetrain,
    phase_draws_deg: Mapping[str, ArrayLike],
    available_mounts_deg: Sequence[float],
    level: float = 0.95,
    holds: str = "",
    lacks: Sequence[str] = (),
) -> MountAdvice:
    """Advise which available mount angle puts the largest lever arm nearest to the rider's torque phase.

    Mount and peak-arm angle add up to the fixed clock angle of the ring's major axis at its largest arm, so
    the target mount is that angle minus the torque phase, modulo 180 (see `Drivetrain.mount_for_peak_arm`).

    Parameters
    ----------
    drivetrain : Drivetrain
        With the oval ring to be mounted; its own mount angle does not matter.
    phase_draws_deg : dict of intensity to array of shape (draws,)
        Draws of the torque phase in degrees modulo 180, equally many at every intensity. What intensities have in
        common, such as the error of one crank angle, is the same in the same draw of each: it then stays in their mean
        and cancels from their differences.
    available_mounts_deg : sequence of float
        Mount angles that the ring offers, modulo 180.
    level : float
        Confidence level of the intervals.
    holds, lacks : str and sequence of str
        What the spread of the draws holds, and what is known to be missing from it.

    Raises
    ------
    Refusal
        A round ring, no intensity or mounting, unequal or too few draws, angles that are missing.

    Examples
    --------
    An axis at −9° when the arm is largest and a torque phase of 100°: target (−9 − 100) mod 180 = 71°.
    """
    draws = _check_draws(phase_draws_deg, level)
    mounts = check_mounts(available_mounts_deg)
    axis_deg = drivetrain.mount_for_peak_arm(0.0)
    by_intensity = pd.DataFrame(
        [{"intensity": name, **_phase_and_mount(row, axis_deg, level)} for name, row in draws.items()]
    )
    overall = _mean_of_intensities(draws)
    summary = _phase_and_mount(overall, axis_deg, level)
    nearest = _nearest(axis_deg - overall, mounts)
    shares = np.bincount(nearest, minlength=mounts.size) / overall.size
    return MountAdvice(
        by_intensity=by_intensity,
        overall_phase_deg=summary["torque_phase_deg"],
        overall_phase_interval_deg=(summary["torque_phase_low_deg"], summary["torque_phase_high_deg"]),
        overall_mount_deg=summary["mount_deg"],
        overall_mount_interval_deg=(summary["mount_low_deg"], summary["mount_high_deg"]),
        intensities_agree=_intensities_agree(draws, level),
        probabilities=pd.DataFrame({"mount_deg": mounts, "probability_nearest": shares}),
        nearest_mount_deg=float(mounts[_nearest(np.array([summary["mount_deg"]]), mounts)[0]]),
        level=level,
        n_draws=overall.size,
        holds=holds,
        lacks=tuple(lacks),
    )


def _mean_of_intensities(draws: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """Axial mean over intensities of each draw, for thousands of draws at once, in [0, 180) degrees."""
    doubled = np.exp(2j * np.radians(np.stack(list(draws.values())))).mean(axis=0)
    return (np.degrees(np.angle(doubled)) / 2) % 180.0


def _phase_and_mount(draws_deg: NDArray[np.float64], axis_deg: float, level: float) -> dict[str, float]:
    """Torque phase and the mount that meets it, each with the percentile interval of its axial deviations."""
    phase = axial_mean(draws_deg).angle_deg
    tail = (1 - level) / 2
    below, above = np.quantile(axial_change_deg(draws_deg - phase), [tail, 1 - tail])
    mount = (axis_deg - phase) % 180.0
    return {
        "torque_phase_deg": phase,
        "torque_phase_low_deg": phase + float(below),
        "torque_phase_high_deg": phase + float(above),
        "mount_deg": mount,
        # A later torque phase needs a smaller mount angle, so the ends change places.
        "mount_low_deg": mount - float(above),
        "mount_high_deg": mount - float(below),
    }


def _nearest(targets_deg: NDArray[np.float64], mounts_deg: NDArray[np.float64]) -> NDArray[np.intp]:
    """Index of the mounting nearest to each target, as axes."""
    distance = np.abs(axial_change_deg(targets_deg[:, None] - mounts_deg[None, :]))
    return np.argmin(distance, axis=1)


def _intensities_agree(draws: dict[str, NDArray[np.float64]], level: float) -> bool | None:
    pairs = list(combinations(draws.values(), 2))
    if not pairs:
        return None
    tail = (1 - level) / 2 / len(pairs)
    for first, second in pairs:
        difference = axial_mean(second - first).signed_deg
        spread = axial_change_deg(second - first - difference)
        below, above = np.quantile(spread, [tail, 1 - tail])
        if difference + below > 0 or difference + above < 0:
            return False
    return True


def _check_draws(phase_draws_deg: Mapping[str, ArrayLike], level: float) -> dict[str, NDArray[np.float64]]:
    check_level(level)
    draws = {name: np.asarray(row, dtype=float) for name, row in phase_draws_deg.items()}
    fewest = math.ceil(10 / (1 - level))
    sizes = {row.size for row in draws.values()}
    if len(sizes) != 1 or any(row.ndim != 1 for row in draws.values()) or min(sizes) < fewest:
        raise Refusal(
            "phase_draws_deg",
            ", ".join(f"{name}: shape {row.shape}" for name, row in draws.items()) or "no intensity",
            f"one row of at least {fewest} bootstrap draws an intensity, equally many at each",
            "draw the torque phase again with the same number of draws",
        )
    for name, row in draws.items():
        if not np.all(np.isfinite(row)):
            raise Refusal(
                f"phase_draws_deg, intensity {name}",
                f"{np.count_nonzero(~np.isfinite(row))} missing draws",
                "a torque phase in every draw",
                "leave out the intensity, or record more turns there",
            )
    return draws


def check_mounts(available_mounts_deg: Sequence[float]) -> NDArray[np.float64]:
    """Return the available mount angles as an array, or refuse what cannot be a set of mountings."""
    mounts = np.asarray(available_mounts_deg, dtype=float)
    distinct = np.unique(np.round(mounts, 9) % 180.0).size
    if mounts.ndim != 1 or mounts.size == 0 or not np.all(np.isfinite(mounts)) or distinct < mounts.size:
        raise Refusal(
            "available_mounts_deg",
            repr(list(available_mounts_deg)),
            "at least one finite mount angle, none twice modulo 180",
            "give each angle at which the ring can be bolted on once",
        )
    return mounts
