"""Does what several rings show hang on a rider, on one error for all rings, on time, or on the ring before?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.individual import IndividualEffects, individual_effects
from analysis_lib.statistics.mixed import MixedModel, fit_mixed_model
from analysis_lib.statistics.rider_least_squares import fit_columns, fit_family, indicate, indicate_periods
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.statistics.trial_table import OVERALL, ring_order, split_intensities


def rings_alone(effect: RingsEffect) -> dict[object, dict[str, Estimate]]:
    """Each ring against the reference from the trials on these two alone, with an error of its own.

    The main analysis takes one error for all rings, which is right when any two of them differ by as much from
    rider to rider. Here each contrast has its own, at the price of degrees of freedom. Riders with one of the
    two rings only say nothing and are left out.

    Returns
    -------
    dict
        By intensity and ring; a ring whose two-ring fit cannot be made has no entry.
    """
    found: dict[object, dict[str, Estimate]] = {name: {} for name in effect.families}
    for ring in effect.rings:
        pair = effect.trials[effect.trials["ring"].isin([effect.reference, ring])]
        for intensity, here in split_intensities(pair):
            seen = here.dropna(subset=["value"])
            seen = seen[seen.groupby("rider")["ring"].transform("nunique") == 2]
            name = {ring: f"{effect.value}, {intensity}, {ring} − {effect.reference}"}
            column = {ring: indicate(seen["ring"], ring)}
            try:
                estimates, _ = fit_columns(seen, column, indicate_periods(seen), name, effect.unit)
            except Refusal:
                continue
            found[intensity].update(estimates)
    return found


def rings_responses(effect: RingsEffect) -> dict[str, IndividualEffects]:
    """How far riders differ in their response to each ring, from their repeated rides; mean over intensities.

    Each ring with the reference as a study of two rings, see `individual.individual_effects`.

    Raises
    ------
    Refusal
        As `individual_effects`: without repeats nothing tells a response from chance.
    """
    found = {}
    for ring in effect.rings:
        pair = effect.trials[effect.trials["ring"].isin([effect.reference, ring])]
        pair = pair.assign(ring=pair["ring"].map({effect.reference: "round", ring: "oval"}))
        pair = pair.rename(columns={"value": effect.value})
        found[ring] = individual_effects(pair, effect.value, level=effect.level, unit=effect.unit)
    return found


def rings_without_each_rider(effect: RingsEffect) -> pd.DataFrame:
    """Estimate the mean over intensities again without each rider in turn.

    Returns
    -------
    DataFrame
        without, ring, estimate, low, high, p_family: simultaneous as in the effect itself. A rider without whom
        nothing can be estimated has no rows.
    """
    columns = ["ring", "estimate", "low", "high", "p_family"]
    frames, whole = [], _overall(effect)
    for rider in pd.unique(effect.trials["rider"]):
        seen = whole[whole["rider"] != rider]
        try:
            family = fit_family(seen, effect.rings, effect.value, effect.reference, effect.unit)
        except Refusal:
            continue
        frame = replace(effect, families={OVERALL: family}).to_frame()[columns]
        frame.insert(0, "without", rider)
        frames.append(frame)
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=["without", *columns])


def rings_periods(effect: RingsEffect) -> dict[int, Estimate]:
    """Each period − the first, free of riders and rings, mean over intensities.

    Where riders ride a ring in several periods, by the mixed model: rider and rider:ring random, as the periods of
    one ring share the rider's response to it.
    """
    seen = _overall(effect)
    if seen.duplicated(["rider", "ring"]).any():
        model, later = _fit_mixed(seen, effect)
        name = f"{effect.value}, period {{}} − period {min(seen['period'])}"
        return {k: model.contrast({f"period {k}": 1.0}, name.format(k), effect.unit) for k in later}
    first, *later = sorted(seen["period"].unique())
    columns = {str(period): indicate(seen["period"], period) for period in later}
    names = {str(period): f"{effect.value}, period {period} − period {first}" for period in later}
    estimates, _ = fit_columns(seen, columns, _indicate_rings(seen["ring"], effect), names, effect.unit)
    return {int(period): estimate for period, estimate in estimates.items()}


def rings_carry_over(effect: RingsEffect) -> tuple[dict[str, Estimate], dict[str, Estimate]]:
    """What each ring leaves behind for the next period, less what the reference leaves; mean over intensities.

    value = rider + period + ring + ring of the period before, all fixed, by least squares. The ring before is
    the one that the rider's sequence rode in the period before, whether or not that trial gave a value.

    Returns
    -------
    tuple of dict
        Carry-over by ring, and each ring − the reference allowing for it.

    Raises
    ------
    Refusal
        A design in which carry-over cannot be told from rings and periods, or too few riders.

    References
    ----------
    Jones & Kenward 2014, ch. 4. Shown with its interval, never a gate: Senn 2002, ch. 3.
    """
    seen = _overall(effect)
    before = ring_order(effect.trials).shift(1, axis=1).unstack()
    cells = pd.MultiIndex.from_frame(seen[["period", "sequence"]])
    left = pd.Series(before.reindex(cells).to_numpy(dtype=object), index=seen.index)
    carried = {f"carried {ring}": indicate(left, ring) for ring in effect.rings}
    direct = {ring: indicate(seen["ring"], ring) for ring in effect.rings}
    names = {
        f"carried {ring}": f"{effect.value}, carry-over, {ring} − {effect.reference}" for ring in effect.rings
    } | {
        ring: f"{effect.value}, {ring} − {effect.reference}, carry-over allowed for" for ring in effect.rings
    }
    estimates, _ = fit_columns(seen, {**carried, **direct}, indicate_periods(seen), names, effect.unit)
    return {ring: estimates[f"carried {ring}"] for ring in effect.rings}, {
        ring: estimates[ring] for ring in effect.rings
    }


def rings_residuals(effect: RingsEffect) -> pd.DataFrame:
    """What riders, periods and rings leave over: intensity, rider, sequence, period, ring, residual."""
    frames = []
    for intensity, part in split_intensities(effect.trials)[:-1]:
        seen = part.dropna(subset=["value"])
        rider = pd.get_dummies(seen["rider"].astype(str), dtype=float).to_numpy()
        design = np.column_stack([rider, indicate_periods(seen), _indicate_rings(seen["ring"], effect)])
        y = seen["value"].to_numpy(dtype=float)
        left = y - design @ (np.linalg.pinv(design) @ y)
        frames.append(
            seen[["rider", "sequence", "period", "ring"]].assign(intensity=str(intensity), residual=left)
        )
    return pd.concat(frames, ignore_index=True)


def _overall(effect: RingsEffect) -> pd.DataFrame:
    return dict(split_intensities(effect.trials))[OVERALL].dropna(subset=["value"])


def _indicate_rings(rings: pd.Series, effect: RingsEffect) -> np.ndarray:
    return np.column_stack([indicate(rings, ring) for ring in effect.rings])


def rings_mixed_model(effect: RingsEffect) -> dict[str, Estimate]:
    """Each ring − the reference with riders as random: value = period + ring + rider (+ rider:ring) + error, by REML.

    Where riders lack rings, differences between riders add what little they know; in a complete study it is the
    least squares analysis. rider:ring is in the model where a rider rides a ring in several periods. Mean over
    intensities.

    Raises
    ------
    Refusal
        As `mixed.fit_mixed_model`.
    """
    model, _ = _fit_mixed(_overall(effect), effect)
    names = {ring: f"{effect.value}, {ring} − {effect.reference}, riders random" for ring in effect.rings}
    return {ring: model.contrast({ring: 1.0}, names[ring], effect.unit) for ring in effect.rings}


def _fit_mixed(seen: pd.DataFrame, effect: RingsEffect) -> tuple[MixedModel, list[int]]:
    """The mixed model of `rings_mixed_model`, and the periods after the first."""
    later = [int(period) for period in sorted(seen["period"].unique())[1:]]
    columns = {ring: indicate(seen["ring"], ring) for ring in effect.rings}
    columns |= {f"period {period}": indicate(seen["period"], period) for period in later}
    rider = seen["rider"].astype(str)
    groups = {"rider": rider}
    if seen.duplicated(["rider", "ring"]).any():
        groups["rider:ring"] = rider + " : " + seen["ring"].astype(str)
    return fit_mixed_model(seen["value"], pd.DataFrame({"intercept": 1.0, **columns}), groups), later
