"""A recorder's power beside what trials ask for, and beside that of the study's other recorders at equal intensities.

Both need nothing but the recordings, and see only what is gross: of the riders on a recorder nobody knows the power.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import pandas as pd

from analysis_lib.signals.plausibility import FAINTEST_POWER_W
from analysis_lib.study.doubts.rider_power import apart

FEWEST_TRIALS = 3
"""Trials from which a recorder is judged: of one or two a rider, a file, an analyser or a bad day can be the cause."""

RIDERS_DIFFER = 1.5
"""Means of riders, the larger over the smaller, from which two recorders are named: weak evidence, because groups of
riders may differ as much; common practice, no source."""

TOO_FAR_APART = 4.0
"""The same, from which one of two recorders is in doubt: no two groups of riders that one study asks for the same intensity
differ as much. The smallest gross mistake of a unit is 8.85 times, lbf·in for N·m; common practice, no source."""


@dataclass(frozen=True)
class RecorderPair:
    """Two recorders of a study at the intensities that both recorded.

    Attributes
    ----------
    higher, lower : str
    times : float
        Power of the higher over that of the lower: means over riders' own means, the median over intensities.
    riders : tuple of int
        Riders on either.
    """

    higher: str
    lower: str
    times: float
    riders: tuple[int, int]

    @property
    def is_weak(self) -> bool:
        """Whether riders who differ may be the cause."""
        return self.times < TOO_FAR_APART


def used_powers(trials: pd.DataFrame, powers_W: Mapping[str, float]) -> pd.DataFrame:
    """Return ``recorder, rider, intensity, power_W`` of the trials whose power is known."""
    riders = trials["rider"] if "rider" in trials else pd.Series("", trials.index)
    rows = [
        (str(recorder), str(rider), str(intensity), powers_W[str(trial)])
        for trial, recorder, rider, intensity in zip(
            trials["trial"], trials["recorder"], riders, trials["intensity"], strict=True
        )
        if math.isfinite(powers_W.get(str(trial), math.nan))
    ]
    return pd.DataFrame(rows, columns=["recorder", "rider", "intensity", "power_W"])


def faint_recorders(powers: pd.DataFrame) -> dict[str, float]:
    """Return the median power of each recorder most of whose trials have less power than hardly any trial asks for, W.

    Negative power is a matter of signs, not of scale, and told as that.
    """
    medians = {
        str(name): float(own.median())
        for name, own in powers.groupby("recorder", sort=False)["power_W"]
        if len(own) >= FEWEST_TRIALS
    }
    return {name: watts for name, watts in medians.items() if 0 <= watts < FAINTEST_POWER_W}


def pairs_apart(powers: pd.DataFrame) -> list[RecorderPair]:
    """Return the pairs of recorders whose powers at equal intensities lie farther apart than `RIDERS_DIFFER`."""
    known = powers[powers["power_W"] > 0]
    counts = known["recorder"].value_counts()
    names = [name for name in dict.fromkeys(known["recorder"]) if counts[name] >= FEWEST_TRIALS]
    own = known.groupby(["recorder", "intensity", "rider"], sort=False)["power_W"].mean()
    means = own.groupby(["recorder", "intensity"], sort=False).mean().unstack("intensity")
    riders = known.groupby("recorder")["rider"].nunique()
    found = []
    for one, two in combinations(names, 2):
        times = float((means.loc[one] / means.loc[two]).median())  # NaN where they share no intensity
        if math.isfinite(times) and apart(times, 1) > RIDERS_DIFFER:
            higher, lower = (one, two) if times > 1 else (two, one)
            counted = int(riders[higher]), int(riders[lower])
            found.append(RecorderPair(higher, lower, apart(times, 1), counted))
    return found


def blamed(pairs: Sequence[RecorderPair], doubted: Sequence[str]) -> dict[str, RecorderPair]:
    """Return the recorders that pairs too far apart speak against, each with one such pair.

    Of two recorders the one that something else speaks against already is to blame, and needs no further word; else the
    one that lies apart from more of the others, or both.
    """
    far = [pair for pair in pairs if not pair.is_weak]
    often = {name: sum(name in (pair.higher, pair.lower) for pair in far) for name in _names(far)}
    found: dict[str, RecorderPair] = {}
    for pair in far:
        both = (pair.lower, pair.higher)
        if any(name in doubted for name in both):
            continue
        most = max(often[name] for name in both)
        for name in both:
            if often[name] == most:
                found.setdefault(name, pair)
    return found


def _names(pairs: Sequence[RecorderPair]) -> list[str]:
    return list(dict.fromkeys(name for pair in pairs for name in (pair.higher, pair.lower)))
