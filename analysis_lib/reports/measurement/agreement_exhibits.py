"""How far apart two trials of the same rider on the same ring can be."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.repeatability_figures import agreement_plot
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.statistics.agreement import Agreement, bland_altman
from analysis_lib.statistics.estimates import decimals_for
from analysis_lib.statistics.trial_table import RINGS

LIMITS_HEADINGS = {
    "bias_low": "95 % low",
    "bias_high": "95 % high",
    "lower": "lower limit",
    "lower_end": "its outer end",
    "upper": "upper limit",
    "upper_end": "its outer end",
    "slope_p": "p of slope",
}
LIMITS = ("bias", "bias_low", "bias_high", "lower", "lower_end", "upper", "upper_end")
"""Columns of a table of limits of agreement that are in the outcome's unit."""

LINKED = "all, linked by rider"


def agreements(repeats: RepeatedTrials) -> dict[str, Agreement]:
    """Compare the first with the second trial on the same ring: alone, linked by rider, and as one true value."""
    pairs, unit = repeats.pairs, repeats.unit
    found = {}
    for intensity in repeats.intensities:
        for ring in RINGS:
            here = pairs[(pairs["intensity"] == intensity) & (pairs["ring"] == ring)]
            if len(here) > 2:
                found[f"{intensity}, {ring} ring"] = bland_altman(here["first"], here["second"], unit=unit)
    linked = (pairs["first"], pairs["second"], pairs["rider"])
    found[LINKED] = bland_altman(*linked, true_value="varying", unit=unit)
    for intensity in repeats.intensities:
        here = pairs[pairs["intensity"] == intensity]
        # One pair alone does not show a rider's own spread.
        here = here[here.groupby("rider")["ring"].transform("size") > 1]
        if here["rider"].nunique() > 2:
            one_truth = (here["first"], here["second"], here["rider"])
            found[f"{intensity}, rings as one"] = bland_altman(*one_truth, true_value="constant", unit=unit)
    return found


def agreement_table(repeats: RepeatedTrials, found: dict[str, Agreement]) -> TableExhibit:
    """Give bias and limits of agreement with their intervals, and whether differences grow with the value."""
    frame = limits_frame(found)
    digits = decimals_for(float((frame["bias_high"] - frame["bias_low"]).median()) / 4)
    return TableExhibit(
        "agreement",
        frame,
        f"{repeats.name_with_unit}, first − second trial on the same ring: bias and 95 % limits with their 95 % intervals"
        " (of limits the outer end). Single rows: one pair a rider. Linked: all of them, true value varying (Bland &"
        " Altman 2007). Rings as one: right only if the ring does nothing. Slope: difference on mean; away from"
        " 0, take logarithms.",
        LIMITS_HEADINGS,
        dict.fromkeys(LIMITS, digits) | {"slope": 3},
    )


def limits_frame(found: Mapping[str, Agreement]) -> pd.DataFrame:
    """Return one row a comparison: its bias and limits, each with its interval or the outer end of it."""
    rows = []
    for name, one in found.items():
        bias, lower, upper = one.bias_interval, one.lower_interval, one.upper_interval
        ends = (one.bias, bias.low, bias.high, one.lower, lower.low, one.upper, upper.high)
        rows.append((name, one.n_pairs, one.n, *ends, one.slope.value, one.slope.p))
    columns = ["compared", "pairs", "riders", "bias", "bias_low", "bias_high", "lower", "lower_end"]
    return pd.DataFrame(rows, columns=[*columns, "upper", "upper_end", "slope", "slope_p"])


def agreement_exhibit(repeats: RepeatedTrials, linked: Agreement) -> FigureExhibit:
    """Draw the differences of repeats against their means with bias and limits, linked by rider."""
    pairs = repeats.pairs
    frame = pairs.assign(
        mean=pairs[["first", "second"]].mean(axis=1), difference=pairs["first"] - pairs["second"]
    )
    return FigureExhibit(
        "agreement",
        agreement_plot(frame, linked, f"Mean of both trials: {repeats.name_with_unit}", repeats.unit),
        f"{repeats.name_with_unit}: first − second trial on the same ring against their mean, {len(frame)} pairs of"
        f" {linked.n} riders. Line: bias; dashed: 95 % limits of agreement; bands: their 95 % intervals. Look for"
        " dots that fan out or climb to the right.",
        f"Agreement plot of {len(frame)} pairs: bias {linked.bias:.2g}, limits {linked.lower:.3g} and"
        f" {linked.upper:.3g} {repeats.unit}.",
        frame,
    )
