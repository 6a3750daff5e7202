"""Exhibits that ask whether what several rings show hangs on a rider, a model or on time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.rings_figures import rings_forest
from analysis_lib.reports.figures.sensitivity_figures import residual_panels
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis
from analysis_lib.reports.several_rings.rings_exhibits import HEADINGS, digits_of
from analysis_lib.reports.study.effect_exhibits import name_with_unit
from analysis_lib.statistics.estimates import Estimate, show_number
from analysis_lib.statistics.rings import RingsEffect, rings_effect
from analysis_lib.statistics.rings_sensitivity import (
    rings_alone,
    rings_carry_over,
    rings_mixed_model,
    rings_periods,
    rings_residuals,
    rings_without_each_rider,
)
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome

PRIMARY = "primary"
SINGLE = {**HEADINGS, "low": "95 % low", "high": "95 % high"}


def analyses_of(effect: RingsEffect) -> tuple[pd.DataFrame, dict[str, str]]:
    """Estimate each ring, mean over intensities, by every analysis; and why some could not be made.

    Returns
    -------
    tuple of DataFrame and dict
        ring, analysis, estimate, se, df, low, high (single 95 %), p, moved_se (distance from the primary
        estimate in its standard errors); the refusals by analysis.
    """
    makers: dict[str, Callable[[], dict[str, Estimate]]] = {
        PRIMARY: lambda: effect.overall,
        "each ring by itself": lambda: rings_alone(effect)[OVERALL],
        "riders random": lambda: rings_mixed_model(effect),
        "carry-over allowed for": lambda: rings_carry_over(effect)[1],
    }
    rows, refused = [], {}
    for analysis, make in makers.items():
        try:
            estimates = make()
        except Refusal as refusal:
            refused[analysis] = str(refusal)
            continue
        for ring, e in estimates.items():
            bounds = e.interval(effect.level)
            rows.append((ring, analysis, e.value, e.se, e.df, bounds.low, bounds.high, e.p))
    columns = ["ring", "analysis", "estimate", "se", "df", "low", "high", "p"]
    frame = pd.DataFrame(rows, columns=columns)
    ours = {ring: (e.value, e.se) for ring, e in effect.overall.items()}
    value, se = (frame["ring"].map({ring: pair[k] for ring, pair in ours.items()}) for k in (0, 1))
    frame["moved_se"] = (frame["estimate"] - value).abs() / se.where(se > 0)
    order = {ring: place for place, ring in enumerate(effect.rings)}
    return frame.sort_values(
        "ring", key=lambda ring: ring.map(order), kind="stable", ignore_index=True
    ), refused


def agreement_sentences(effect: RingsEffect) -> list[str]:
    """Say by how much the other analyses move each estimate, in its own standard errors."""
    frame, refused = analyses_of(effect)
    words = []
    for ring, here in frame.groupby("ring", sort=False):
        primary = here[here["analysis"] == PRIMARY].iloc[0]
        others = here[here["analysis"] != PRIMARY]
        if others.empty or not primary["se"] > 0:
            continue
        farthest = others.iloc[int(others["moved_se"].argmax())]
        most = show_number(float(farthest["moved_se"]), 2)
        zero = others[
            ((others["low"] > 0) | (others["high"] < 0)) != (primary["low"] > 0 or primary["high"] < 0)
        ]
        apart = f" Another answer about zero: {', '.join(zero['analysis'])}." if len(zero) else ""
        words.append(
            f"{ring}: no other analysis moves the estimate by more than {most} of its standard errors"
            f" ({farthest['analysis']}).{apart}"
        )
    return [
        *words,
        *(f"{name[0].upper()}{name[1:]} cannot be made: {reason}." for name, reason in refused.items()),
    ]


def forest_exhibit(outcome: Outcome, effect: RingsEffect) -> FigureExhibit:
    """Draw each ring's estimate by every analysis."""
    frame, _ = analyses_of(effect)
    return FigureExhibit(
        f"analyses_{outcome.name}",
        rings_forest(frame, outcome.smallest_effect, f"{name_with_unit(outcome)}, ring − {effect.reference}"),
        f"{name_with_unit(outcome)}, ring − {effect.reference}, mean over intensities, by every analysis: estimate with"
        " a 95 % interval of its own, not widened for several rings. Shaded: smaller than the smallest effect that"
        " matters.",
        f"Forest plots of {outcome.label}, one panel a ring, {frame['analysis'].nunique()} analyses; estimates: "
        + ", ".join(
            f"{ring} {part.min():.3g} to {part.max():.3g}"
            for ring, part in frame.groupby("ring", sort=False)["estimate"]
        )
        + ".",
        frame,
    )


def analyses_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give every analysis of every ring."""
    frame, _ = analyses_of(effect)
    return TableExhibit(
        f"analyses_{outcome.name}",
        frame,
        f"{name_with_unit(outcome)}, ring − {effect.reference}, mean over intensities, single intervals. Primary: rider,"
        " period and ring by least squares. Each ring by itself: the trials on the two rings alone, an error of its own."
        " Riders random: REML with Kenward and Roger's degrees of freedom. Carry-over allowed for: the ring of the period"
        " before. Moved: distance from the primary estimate.",
        SINGLE | {"moved_se": "moved (in its SE)"},
        digits_of(effect) | {"moved_se": 2},
    )


def log_table(analysis: RingsAnalysis, outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Repeat the analysis on the log scale and give each ring over round in percent; refused for values of 0 or below."""
    table, rings = analysis.outcome_table(outcome), tuple(analysis.rings)
    ratios = rings_effect(table, outcome.label, rings, effect.reference, effect.level, scale="log").ratios()
    means = table.groupby("intensity", observed=True)[outcome.label].mean()
    means[OVERALL] = means.mean()
    level = effect.to_frame()["intensity"].map(means.to_dict()).astype(float)
    percent = {name: 100 * (ratios[name] - 1) for name in ("ratio", "low", "high")}
    linear = 100 * effect.to_frame()["estimate"] / level
    frame = ratios[["intensity", "ring"]].assign(**percent, linear=linear, p_family=ratios["p_family"])
    return TableExhibit(
        f"log_scale_{outcome.name}",
        frame,
        f"{outcome.label}, ring − {effect.reference} in percent: from ratios (log scale, for differences that grow with the"
        " value, intervals for all rings), and from differences over the mean of all trials. Where both say the same, the"
        " scale does not matter.",
        HEADINGS | {"ratio": "from ratios (%)", "linear": "from differences (%)"},
        dict.fromkeys(("ratio", "low", "high", "linear"), 2),
    )


def leave_one_out_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Show how each ring's estimate moves when each rider in turn is left out."""
    return TableExhibit(
        f"leave_one_out_{outcome.name}",
        rings_without_each_rider(effect),
        f"{name_with_unit(outcome)}, ring − {effect.reference}, mean over intensities, without each rider in turn.",
        HEADINGS,
        digits_of(effect),
    )


def period_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give each period's effect, free of riders and rings."""
    first = int(effect.trials["period"].min())
    rows = [(period, first, *_row(e, effect.level)) for period, e in rings_periods(effect).items()]
    columns = ["period", "versus", "estimate", "se", "df", "low", "high", "p"]
    return TableExhibit(
        f"period_effects_{outcome.name}",
        pd.DataFrame(rows, columns=columns),
        f"{name_with_unit(outcome)}: each period minus the first, free of riders and rings, mean over intensities.",
        {**SINGLE, "versus": "minus period"},
        digits_of(effect),
    )


def carry_over_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give what each ring leaves behind, less what the round one leaves."""
    carried, _ = rings_carry_over(effect)
    rows = [(ring, *_row(e, effect.level)) for ring, e in carried.items()]
    return TableExhibit(
        f"carry_over_{outcome.name}",
        pd.DataFrame(rows, columns=["ring", "estimate", "se", "df", "low", "high", "p"]),
        f"{name_with_unit(outcome)}: what each ring leaves behind for the next period, less what {effect.reference}"
        " leaves, mean over intensities. Never a gate: an interval that holds zero does not show that nothing is"
        " carried over.",
        SINGLE,
        digits_of(effect),
    )


def residual_exhibit(outcome: Outcome, effect: RingsEffect) -> FigureExhibit:
    """Draw what riders, periods and rings leave over, by sequence and period."""
    left = rings_residuals(effect)
    left["ring"] = pd.Categorical(left["ring"], [effect.reference, *effect.rings])
    spread = np.sqrt((left["residual"] ** 2).groupby(left["ring"], observed=True).mean())
    shown = ", ".join(f"{ring} {value:.2g}" for ring, value in spread.items())
    return FigureExhibit(
        f"residuals_{outcome.name}",
        residual_panels(left, outcome.label, outcome.difference_unit),
        f"{name_with_unit(outcome)}: residuals of the primary analysis, one a trial (n = {len(left)}), by sequence and"
        f" period. Root mean squares by ring: {shown}. Look for a ring or period that spreads more than the others, and"
        " for a trial far from the rest.",
        f"Dot plot of {len(left)} residuals by sequence and period; root mean squares {shown}.",
        left,
    )


def _row(e: Estimate, level: float) -> tuple[float, ...]:
    bounds = e.interval(level)
    return (e.value, e.se, e.df, bounds.low, bounds.high, e.p)
