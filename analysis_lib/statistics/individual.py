"""How does this rider respond to the oval ring, and do riders differ in their response at all?

Only replicate periods can tell: two rides on each ring at least. Riders are never sorted into responders and
others, since chance alone spreads single differences as widely.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.contrasts import mean_over_sequences, rider_contrasts
from analysis_lib.statistics.estimates import check_level
from analysis_lib.statistics.response_spread import ResponseSpread
from analysis_lib.statistics.trial_table import OVERALL, check_trials, split_intensities, without_levels


@dataclass(frozen=True, eq=False)
class IndividualEffects:
    """Each rider's oval − round, as measured and as shrunken towards the group, and how much riders differ.

    Parameters
    ----------
    riders : DataFrame
        rider, sequence, periods_round, periods_oval, effect, se, df, low, high (from the rider's own
        replicates), se_pooled, df_pooled, low_pooled, high_pooled (typical error of all riders), shrunken.
    typical_error, typical_error_df : float, int
        Standard deviation of one trial around the rider's mean on its ring, pooled over riders.
    spread : ResponseSpread
        How much riders differ in their true response.
    level : float
        Confidence level of the riders' intervals.
    intensity : label
        Where it was measured.
    """

    riders: pd.DataFrame
    typical_error: float
    typical_error_df: int
    spread: ResponseSpread
    level: float
    intensity: object


def individual_effects(
    table: pd.DataFrame, value: str, intensity: object = OVERALL, level: float = 0.95, unit: str = ""
) -> IndividualEffects:
    """Estimate each rider's own effect from its replicate periods, and the spread of response over riders.

    effect = mean of the rider's oval periods − mean of its round ones, less what its sequence has more than
    the mean of the sequences (period effects). Its own interval rests on the rider's own replicates alone, s²
    from within its rings and t on (periods − 2) df: se = s sqrt(1/n_oval + 1/n_round). The pooled interval
    takes the typical error of all riders for s: cells of rider and ring and common period effects by least
    squares.

    The variance of response is the variance of contrasts within sequences − s²(1/n_oval + 1/n_round), s the
    typical error. The shrunken effect is group + B (effect − group), B = response variance/(response variance
    + se_pooled²), the better guess at what the rider would show next time.

    Parameters
    ----------
    table, value : DataFrame, str
        As for `crossover.ring_effect`.
    intensity : label
        One intensity, or "overall" for the mean of all of them, period by period.
    level : float
        Confidence level of the riders' intervals.
    unit : str
        Unit of the outcome.

    Raises
    ------
    Refusal
        No replicate periods, too few riders, or replicates that do not vary.

    References
    ----------
    Senn, Stat Med 2016;35:966. Hopkins, Sports Med 2015;45:1337 (individual responses). Robinson, Stat Sci
    1991;6:15 (shrinkage).
    """
    check_level(level)
    part = dict(split_intensities(check_trials(table, value))).get(intensity)
    if part is None:
        raise Refusal("intensity", repr(intensity), "a label of the table, or 'overall'", "use one of these")
    if part["value"].isna().all():
        raise Refusal(
            value,
            f"no period with a value at {'every intensity' if intensity == OVERALL else intensity}",
            "periods with values on both rings",
            "leave out the intensity without values",
        )
    seen = part.dropna(subset=["value"]).assign(intensity=pd.Categorical(["one"] * part["value"].count()))
    contrasts, _ = rider_contrasts(seen)
    frame = contrasts[contrasts["intensity"] == "one"].drop(columns="intensity").set_index("rider")
    seen = seen[seen["rider"].isin(frame.index)]
    error, error_df = _pool_replicates(seen)
    own = _own_replicates(seen).loc[frame.index]
    group = mean_over_sequences(frame["contrast"], frame["sequence"], f"{value}, oval − round", unit)
    response = frame["contrast"] - frame.groupby("sequence")["contrast"].transform("mean")
    share = 1 / frame["periods_round"] + 1 / frame["periods_oval"]
    spread = _spread_of_response(response, int(group.df), error * float(share.mean()), error_df, unit)
    frame = frame.drop(columns="contrast").assign(effect=group.value + response)
    frame = _add_interval(frame, np.sqrt(own["variance"] * share), own["df"], level, "")
    frame = _add_interval(frame, np.sqrt(error * share), pd.Series(error_df, frame.index), level, "_pooled")
    kept = max(spread.variance, 0.0)
    frame["shrunken"] = group.value + kept / (kept + error * share) * response
    return IndividualEffects(frame.reset_index(), math.sqrt(error), error_df, spread, level, intensity)


def _own_replicates(seen: pd.DataFrame) -> pd.DataFrame:
    """Variance of each rider's values within its rings, and its degrees of freedom (NaN and 0 without any)."""
    cells = seen.groupby(["rider", "ring"])["value"].agg(["var", "count"])
    cells["df"] = cells["count"] - 1
    cells["squares"] = (cells["var"] * cells["df"]).fillna(0.0)
    own = cells.groupby("rider")[["squares", "df"]].sum()
    return own.assign(variance=own["squares"] / own["df"].where(own["df"] > 0))


def _pool_replicates(seen: pd.DataFrame) -> tuple[float, int]:
    """Residual variance and degrees of freedom around rider × ring cells and common period effects."""
    period = pd.get_dummies(seen["period"].astype(str), dtype=float)
    cells = seen.groupby(["rider", "ring"])
    columns = period.assign(value=seen["value"].astype(float))
    freed = without_levels(columns, cells.ngroup())
    design, values = freed.drop(columns="value").to_numpy(), freed["value"].to_numpy()
    solution, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    freedom = len(values) - cells.ngroups - int(rank)
    if freedom < 1:
        raise Refusal(
            "individual responses",
            "riders who rode each ring once",
            "replicate periods: two or more on each ring",
            "report the group's effect; one difference cannot tell a response from chance",
        )
    variance = float(((values - design @ solution) ** 2).sum()) / freedom
    if math.sqrt(variance) <= 64 * np.finfo(float).eps * float(seen["value"].abs().max()):
        raise Refusal(
            "individual responses",
            "replicates that do not vary",
            "measured replicates",
            "look for copied values",
        )
    return variance, freedom


def _add_interval(
    frame: pd.DataFrame, se: pd.Series, df: pd.Series, level: float, suffix: str
) -> pd.DataFrame:
    reach = se * scipy.stats.t.ppf((1 + level) / 2, df.where(df > 0))
    columns = {"se": se, "df": df, "low": frame["effect"] - reach, "high": frame["effect"] + reach}
    return frame.assign(**{name + suffix: column for name, column in columns.items()})


def _spread_of_response(
    response: pd.Series, between_df: int, within: float, within_df: int, unit: str
) -> ResponseSpread:
    between = float((response**2).sum()) / between_df
    variance = between - within
    p = float(scipy.stats.f.sf(between / within, between_df, within_df))
    sd = math.sqrt(max(variance, 0.0))
    return ResponseSpread(sd, variance, p, between, within, between_df, within_df, len(response), unit)
