"""Trials in which the crank's speed is that of an oval ring of another shape than study.toml says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache

import numpy as np
import pandas as pd

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring_factor import SpeedWaves, inertia_share, ring_factor, speed_waves
from analysis_lib.refusals import Refusal
from analysis_lib.reports.trials.other_ring import FEWEST_PULSES, of_another_ring, shows_speed
from analysis_lib.reports.trials.rider_trials import under_caution
from analysis_lib.reports.trials.speed_verdict import SWING_BAND
from analysis_lib.reports.trials.turned_trials import TURNED_BY
from analysis_lib.signals.trial import TrialResult
from analysis_lib.study.declared.settings import StudySettings

RING_FACTOR, INERTIA_SHARE = "ring_factor", "inertia_share"
"""Columns of a rider's trials: how oval the ring looks over what is declared, NaN where that is not in doubt; and, of these
trials, the stated inertia over the one that the round ring shows, NaN where no trial on it tells."""

LEAST_APART = 0.01
"""How far the ring's wave of the speed, over the mean, must differ from the declared one; an encoder's error of a tenth of
a degree twice a turn makes 0.0035."""

MOST = 0.75
"""Share of a rider's trials on a ring that must be off to the same side: a ring does not change its shape."""

UNTOLD_SHARES = (0.6, 1.4)
"""Without a trial on the round ring: stated inertia over the true one, two standard uncertainties of the usual 20 % either
way; with both the ring must be in doubt."""

LOOK_AT = "axis_ratio, or outline, in study.toml"


def doubt_shapes(
    settings: StudySettings, trials: pd.DataFrame, results: Mapping[str, TrialResult]
) -> pd.DataFrame:
    """Return one rider's trials, with the two columns, those under caution whose ring looks of another shape.

    Of 300 simulated honest studies (axis ratios 1.06 to 1.3; inertia at the crank 3 to 100 kg m², stated up to 30 % wrong;
    mounts 2° off; 25 to 100 samples/s, 8 pulses a turn and more; noise, and encoders 0.1° wrong twice a turn) none was
    doubted, and none of 100 with an inertia up to five times wrong; without their trials on the round ring, 0 and 2. Of 40
    each with 1.10 declared as 1.20, 1.30 or 1.05, and 1.20 as 1.10, all were, in every trial; 1.10 as 1.15 in 506 of 507.

    Not found: a ring that is less than a quarter off, such as 1.10 declared as 1.12, or by less than 0.02 in axis ratio; a
    wrong shape with the same two waves a turn; a wrong shape that the stated mount hides is found, its mount only when the
    shape is mended.

    Parameters
    ----------
    settings : StudySettings
    trials : DataFrame
        With ``trial, ring_name, mount_deg, recorder, state, reason`` and `TURNED_BY`. One that turns as on another ring, or
        as on a turned one, is judged no more.
    results : dict of trial to TrialResult
        Trials without a result stay as they are.
    """
    drive = cache(settings.drivetrain_for)  # trials share few rings and mounts, and their gears
    known = ~of_another_ring(trials) & trials[TURNED_BY].isna() & trials["trial"].isin(list(results))
    waves = {
        str(row.trial): wave
        for row in trials[known].itertuples()
        if (wave := _waves_of(settings, drive, row, results[str(row.trial)])) is not None
    }
    judged = trials[trials["trial"].isin(list(waves))]
    rings = {str(ring): list(map(str, here["trial"])) for ring, here in judged.groupby("ring_name")}
    is_round = {ring: settings.rings[ring].axis_ratio == 1 for ring in rings}
    share = inertia_share([waves[trial] for ring in rings if is_round[ring] for trial in rings[ring]])
    factors: dict[str, float] = {}
    for ring in rings:
        if not is_round[ring]:
            found = doubtful_factors([waves[trial] for trial in rings[ring]], share)
            factors |= dict(zip(rings[ring], found, strict=True))
    trials = trials.copy()
    factor = trials["trial"].map(factors).astype(float)
    trials[RING_FACTOR], trials[INERTIA_SHARE] = factor, np.where(factor.notna(), share, np.nan)
    return under_caution(trials, map(shape_caution, trials.itertuples()))


def shape_caution(row) -> str:
    """Say of one trial, a row with `RING_FACTOR`, to which side its ring is off; "" where it is not in doubt.

    >>> from types import SimpleNamespace
    >>> shape_caution(SimpleNamespace(ring_factor=0.4)).partition(":")[0]
    "The crank's speed swings less than the declared shape of its ring makes it"
    """
    factor = getattr(row, RING_FACTOR)
    if factor != factor:
        return ""
    more = "less" if factor < 1 else "more"
    return f"The crank's speed swings {more} than the declared shape of its ring makes it: look at {LOOK_AT}."


def shape_verdict(row) -> str:
    """Say in short of one trial, a row with `RING_FACTOR`, what its ring looks; "" where it is not in doubt.

    >>> from types import SimpleNamespace
    >>> shape_verdict(SimpleNamespace(ring_factor=1.6))
    'as with a more oval ring: look at axis_ratio, or outline, in study.toml'
    """
    factor = getattr(row, RING_FACTOR)
    if factor != factor:
        return ""
    return f"as with a {'rounder' if factor < 1 else 'more oval'} ring: look at {LOOK_AT}"


def doubtful_factors(on_oval: Sequence[SpeedWaves], share: float) -> list[float]:
    """Return the ring factor of each of a rider's trials on one oval ring that is in doubt, NaN for the others.

    In doubt are factors outside what counts as agreement, where most of the rider's trials on the ring are off to one side.

    Parameters
    ----------
    on_oval : sequence of SpeedWaves
    share : float
        The stated inertia over that of the trials on the round ring; NaN where none tells it.
    """
    shares = UNTOLD_SHARES if share != share else (share,)
    found = np.array([[ring_factor(wave, one) for one in shares] for wave in on_oval]).reshape(
        -1, len(shares)
    )
    apart = np.abs(found - 1) * np.array([[abs(wave.ring)] for wave in on_oval]).reshape(-1, 1) > LEAST_APART
    low, high = SWING_BAND
    factors = np.full(len(found), np.nan)
    for off in (((found < low) & apart).all(axis=1), ((found > high) & apart).all(axis=1)):
        if off.any() and off.mean() >= MOST:
            factors[off] = found.mean(axis=1)[off]
    return [float(factor) for factor in factors]


def _waves_of(
    settings: StudySettings, drive: Callable[..., Drivetrain], row, result: TrialResult
) -> SpeedWaves | None:
    """Take a trial's speed apart by what is declared; None where its recording or its row do not tell enough."""
    recorder = settings.recorders[row.recorder]
    steps = float(result.quality["samples_per_turn"])
    if recorder.angle == "pulses":
        steps = min(steps, recorder.pulses_per_turn or steps)
    is_oval = settings.rings[row.ring_name].axis_ratio != 1
    if not shows_speed(recorder) or steps < FEWEST_PULSES or (is_oval and row.mount_deg != row.mount_deg):
        return None
    try:
        drivetrain = drive(row.ring_name, row.mount_deg if is_oval else None)
        return speed_waves(drivetrain, result.torque_at_angles(), result.speed_at_angles(), steps)
    except Refusal:
        return None
