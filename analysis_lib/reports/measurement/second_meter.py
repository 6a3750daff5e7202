"""Another meter on the same trials: does it agree with the recorder, and does the ring change that?"""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.repeatability_figures import agreement_plot
from analysis_lib.reports.measurement.agreement_exhibits import LIMITS, LIMITS_HEADINGS, limits_frame
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.statistics.agreement import Agreement, bland_altman
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.estimates import decimals_for, show_number
from analysis_lib.statistics.trial_table import OVERALL, RINGS

POWER = "power_W"
BOTH = "both rings"
LABELS = ["trial", "rider", "sequence", "period", "ring", "intensity"]


def second_meter(repeats: RepeatedTrials, column: str) -> pd.DataFrame:
    """Return the power of every used trial by the recorder and by another meter.

    Parameters
    ----------
    repeats : RepeatedTrials
        Of any quantity.
    column : str
        Column of trials.csv that holds the other meter's mean power of each trial, W; an empty cell is a trial that it
        did not record.

    Returns
    -------
    DataFrame
        ``trial, rider, sequence, period, ring, intensity, power_W, other_W, difference``, the latter other − recorder.

    Raises
    ------
    Refusal
        A column that is not there, or a cell that holds no number.
    """
    trials = pd.concat([rider.trials for rider in repeats.riders.values()], ignore_index=True)
    if column not in trials:
        raise Refusal(
            "another meter",
            f"no column {column!r} in trials.csv" if column else "no column named",
            "a column of trials.csv with its mean power of each trial, W",
            "add the column, and name it in the parameter other_meter of this notebook",
        )
    known = pd.concat([rider.quantities for rider in repeats.riders.values()], ignore_index=True)
    power = known[known["quantity"] == POWER].rename(columns={"value": POWER})[[*LABELS, POWER]]
    other = pd.to_numeric(trials[column], errors="coerce")
    odd = other.isna() & trials[column].notna() & (trials[column].astype(str).str.strip() != "")
    if odd.any():
        worst = trials[odd].iloc[0]
        what = f"trials.csv, trial {worst['trial']}, column {column}"
        raise Refusal(what, repr(worst[column]), "a power in W", "correct or empty the cell")
    table = power.merge(trials[["trial"]].assign(other_W=other), on="trial").dropna(subset=["other_W"])
    return table.assign(difference=table["other_W"] - table[POWER])


def second_meter_agreements(readings: pd.DataFrame) -> dict[str, Agreement]:
    """Compare both meters on either ring and on both, trials linked by rider, the true power varying between them."""
    found = {}
    for name in (*RINGS, BOTH):
        here = readings if name == BOTH else readings[readings["ring"] == name]
        if here["rider"].nunique() > 2:
            found[name] = bland_altman(here["other_W"], here[POWER], here["rider"], unit="W")
    if BOTH not in found:
        got = f"{readings['rider'].nunique()} riders with both"
        raise Refusal("another meter", got, "three riders or more", "record more riders with both meters")
    return found


def agreement_sentence(found: dict[str, Agreement]) -> str:
    """Say how far the meters lie apart over both rings."""
    return f"{found[BOTH].sentence()} Here a is the other meter and b the recorder."


def ring_change_sentence(readings: pd.DataFrame) -> str:
    """Say whether the ring changes what the other meter shows beside the recorder.

    Raises
    ------
    Refusal
        What `ring_effect` refuses.
    """
    effect = ring_effect(readings, "difference", unit="W").to_frame().set_index("intensity")
    ends = [float(effect[name].loc[OVERALL]) for name in ("estimate", "low", "high")]
    digits = decimals_for((ends[2] - ends[1]) / 4)
    estimate, low, high = (show_number(end, digits, signed=True) for end in ends)
    most = show_number(max(abs(ends[1]), abs(ends[2])), digits)
    told = (ends[1] > 0) == (ends[2] > 0)
    verdict = (
        "the ring changes what it reads, and a comparison of rings by it alone is wrong by as much."
        if told
        else f"no change with the ring is shown, and one of up to {most} W is left open."
    )
    return (
        f"From the round to the oval ring the other meter moves by {estimate} W against the recorder (95 % interval"
        f" {low} to {high} W, by the study's primary analysis): {verdict}"
    )


def second_meter_table(found: dict[str, Agreement]) -> TableExhibit:
    """Give bias and limits of agreement of the meters by ring, with their intervals."""
    return TableExhibit(
        "second_meter",
        limits_frame(found),
        "Other meter − recorder, mean power of the same trials (W), by ring: bias and limits of agreement, each with the"
        " end of its 95 % interval (for limits the outer one); true value varying between a rider's trials (Bland &"
        " Altman 2007). Slope of the difference on the mean, over riders.",
        LIMITS_HEADINGS | {"compared": "ring", "pairs": "trials"},
        dict.fromkeys(LIMITS, 2) | {"slope": 3},
    )


def second_meter_exhibit(readings: pd.DataFrame, found: dict[str, Agreement]) -> FigureExhibit:
    """Draw the difference of the meters against their mean, trials of both rings."""
    both = found[BOTH]
    frame = readings.assign(mean=readings[[POWER, "other_W"]].mean(axis=1))
    return FigureExhibit(
        "second_meter",
        agreement_plot(frame, both, "Mean of both meters (W)", "W", "Other meter − recorder"),
        f"Other meter − recorder against their mean, {both.n_pairs} trials of {both.n} riders. Line: bias; dashed: 95 %"
        " limits of agreement; bands: their 95 % intervals. Look for rings that lie apart and for dots that fan out.",
        f"Agreement plot of {both.n_pairs} trials by two meters: bias {both.bias:.2g}, limits {both.lower:.3g} and"
        f" {both.upper:.3g} W.",
        frame,
    )
