"""Figures and tables of several rings against the round one."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.rings_figures import ring_periods, ring_trajectories, rings_panels
from analysis_lib.reports.several_rings.rings_analysis import RingsAnalysis, contrasts_of
from analysis_lib.reports.study.effect_exhibits import (
    OWN_AXES,
    mean_cells,
    name_with_unit,
    reach_in_words,
    without_wild_intervals,
)
from analysis_lib.statistics.estimates import Estimate, decimals_for, show_number
from analysis_lib.statistics.multiplicity import adjust_p, simultaneous_intervals
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.statistics.rings_sensitivity import rings_responses
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome, in_brackets
from analysis_lib.study.planning.protocol_text import unit_after

HEADINGS = {
    "estimate": "difference",
    "low": "95 % low, all rings",
    "high": "95 % high, all rings",
    "p_family": "p, all rings",
    "low_equivalence": "low, for verdict",
    "high_equivalence": "high, for verdict",
    "p_holm": "p (Holm)",
    "n": "riders",
    "f": "F",
}


def digits_of(effect: RingsEffect) -> dict[str, int]:
    """Return how many decimals show an effect: two digits of the first overall standard error."""
    names = ("estimate", "se", "low", "high", "low_equivalence", "high_equivalence")
    decimals = decimals_for(next(iter(effect.overall.values())).se)
    return dict.fromkeys(names, decimals) | {"t": 2, "df": 1, "f": 2}


def rings_exhibit(outcome: Outcome, effect: RingsEffect) -> FigureExhibit:
    """Draw every ring against the round one at each intensity, with the zone that does not matter."""
    frame, own = effect.to_frame().astype({"intensity": str}), contrasts_of(effect)
    overall = frame[frame["intensity"] == OVERALL]
    decimals = digits_of(effect)["estimate"]
    shown = overall.set_index("ring")[["estimate", "low", "high"]].map(
        lambda value: show_number(value, decimals)
    )
    found = "; ".join(f"{ring} {row.estimate}, {row.low} to {row.high}" for ring, row in shown.iterrows())
    return FigureExhibit(
        f"rings_{outcome.name}",
        rings_panels(
            frame, own, outcome.smallest_effect, name_with_unit(outcome) + f", ring − {effect.reference}"
        ),
        f"{outcome.label}, each oval ring − {effect.reference}: estimate with the 95 % interval that holds for all rings"
        " together at one intensity, beside each rider's own difference (dots, period effects still in them). Shaded:"
        f" smaller than the smallest effect that matters, {outcome.smallest_effect:g}{unit_after(outcome)}, as study.toml"
        f" declares. Riders: {', '.join(f'{row.ring} {row.n}' for row in overall.itertuples())}.",
        f"Point and interval plots of {outcome.label} by ring, one panel an intensity; overall {found}.",
        frame,
    )


def rings_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give estimate, simultaneous interval, adjusted p and verdict of each ring at each intensity."""
    frame = effect.to_frame().merge(effect.verdicts(outcome.smallest_effect))
    columns = ["intensity", "ring", "estimate", "se", "df", "low", "high", "p", "p_family"]
    return TableExhibit(
        f"rings_{outcome.name}",
        frame[[*columns, "low_equivalence", "high_equivalence", "verdict", "n"]],
        f"{name_with_unit(outcome)}, ring − {effect.reference}. {_how_to_read(outcome, effect)}",
        HEADINGS,
        digits_of(effect),
    )


def _how_to_read(outcome: Outcome, effect: RingsEffect) -> str:
    """The whole explanation with the primary outcome; the others refer to it, so that a page says it once."""
    verdict = f"erdict against ±{outcome.smallest_effect:g}{unit_after(outcome)}"
    if not outcome.primary:
        return f"Columns as with the primary outcome; v{verdict}."
    each = 100 * (1 - 0.1 / len(effect.rings))
    return (
        f"{effect.method}. V{verdict}: equivalent when the {each:.4g} % interval (for verdict) lies inside, difference when"
        " the simultaneous 95 % interval excludes zero, else undecided; all rings allowed for, intensities not."
    )


def omnibus_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give the F test of rings at each intensity."""
    rows = [
        (name, test.f, test.df_between, test.df_within, test.p) for name, test in effect.omnibus().items()
    ]
    return TableExhibit(
        f"omnibus_{outcome.name}",
        pd.DataFrame(rows, columns=["intensity", "f", "df_rings", "df_residual", "p"]),
        f"{name_with_unit(outcome)}: F test that no ring differs from any other, at each intensity.",
        HEADINGS,
        {"f": 2, "df_residual": 0},
    )


def between_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Compare the oval rings among themselves: a secondary question."""
    rows = []
    for intensity, pairs in effect.between().items():
        family: dict[object, Estimate] = dict(pairs.items())
        bounds = simultaneous_intervals(family, effect.level)
        adjusted = adjust_p([pair.p for pair in pairs.values()])
        for (names, pair), p_holm in zip(pairs.items(), adjusted, strict=True):
            words = f"{names[1]} − {names[0]}"
            found = bounds[names]
            rows.append(
                (intensity, words, pair.value, pair.se, pair.df, found.low, found.high, pair.p, p_holm)
            )
    columns = ["intensity", "rings", "estimate", "se", "df", "low", "high", "p", "p_holm"]
    return TableExhibit(
        f"between_{outcome.name}",
        pd.DataFrame(rows, columns=columns),
        f"{name_with_unit(outcome)}: oval rings among themselves, secondary. Intervals hold for all pairs at one"
        " intensity together (Dunn 1961); p adjusted for all pairs (Holm 1979).",
        HEADINGS | {"low": "95 % low, all pairs", "high": "95 % high, all pairs"},
        digits_of(effect),
    )


def trajectories_exhibit(analysis: RingsAnalysis, outcome: Outcome, effect: RingsEffect) -> FigureExhibit:
    """Draw each rider's value on every ring, joined."""
    seen = effect.trials.dropna(subset=["value"])
    cells = seen[["intensity", "rider", "ring", "value"]].astype({"intensity": str})
    return FigureExhibit(
        f"trajectories_{outcome.name}",
        ring_trajectories(cells, analysis.rings, name_with_unit(outcome)),
        f"{outcome.label} of every rider on every ring, one line a rider (n = {cells['rider'].nunique()}; mean of the"
        " rider's periods on it); a gap is a ring without a value. Look for lines that bend the same way, and for a"
        f" rider who stands apart. {OWN_AXES}",
        f"Line plots of {outcome.label} from ring to ring, one line a rider and one panel an intensity; mean over riders"
        " and intensities: "
        + ", ".join(
            f"{ring} {value:.4g}"
            for ring, value in cells.groupby("ring", observed=True)["value"].mean().items()
        )
        + ".",
        cells,
    )


def relabelling_table(analysis: RingsAnalysis, outcome: Outcome) -> TableExhibit:
    """Give p of the same question when the sequences are dealt to the riders otherwise."""
    rows = [
        (name, test.p, test.smallest_p, len(test.squares) - (not test.exact), test.n)
        for name, test in analysis.relabelled(outcome).items()
    ]
    return TableExhibit(
        f"relabelling_{outcome.name}",
        pd.DataFrame(rows, columns=["intensity", "p", "smallest_p", "allocations", "n"]),
        f"{name_with_unit(outcome)}: p that no ring differs from any other, from the sequences dealt to the riders"
        " otherwise; nothing is assumed about distributions or periods.",
        HEADINGS | {"smallest_p": "smallest possible p"},
    )


def riders_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """List each rider's own differences, mean over intensities."""
    own = contrasts_of(effect)
    wide = own[own["intensity"] == OVERALL].pivot_table(index="rider", columns="ring", values="contrast")
    wide = wide.reindex(columns=effect.rings).reset_index()
    decimals = decimals_for(next(iter(effect.overall.values())).se)
    return TableExhibit(
        f"riders_{outcome.name}",
        wide,
        f"{name_with_unit(outcome)}: each rider's own ring − {effect.reference}, mean over intensities,"
        f" periods on one ring averaged. {_what_one_rider_shows(effect)}",
        {ring: f"{ring} − {effect.reference}" for ring in effect.rings},
        dict.fromkeys(effect.rings, decimals),
    )


def _what_one_rider_shows(effect: RingsEffect) -> str:
    if effect.is_repeated:
        return "Rides on one ring differ too: see how far riders differ beyond that."
    return "One period on each ring: the difference of two rides on one ring looks like this too."


def responses_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give how far riders differ in their response to each ring, beside the error of one period."""
    rows = []
    for ring, found in rings_responses(effect).items():
        spread, bounds = found.spread, found.spread.interval(effect.level)
        sizes = (math.nan,) * 3 if spread.collapsed else (spread.sd, bounds.low, bounds.high)
        rows.append((ring, *sizes, spread.p, found.typical_error, spread.n))
    columns = ["ring", "estimate", "low", "high", "p", "typical_error", "n"]
    heads = {
        "estimate": "SD of response",
        "low": "95 % low",
        "high": "95 % high",
        "typical_error": "typical error",
    }
    return TableExhibit(
        f"responses_{outcome.name}",
        pd.DataFrame(rows, columns=columns),
        f"{name_with_unit(outcome)}: SD between riders of their own response to each ring − {effect.reference}, mean over"
        " intensities, from repeated periods; p of no spread; beside it the typical error of one period. A low end of 0:"
        " riders may all respond alike. No SD: differences vary so much less than repeats that none can be estimated.",
        HEADINGS | heads,
        digits_of(effect) | {"typical_error": digits_of(effect)["se"]},
    )


def periods_exhibit(analysis: RingsAnalysis, outcome: Outcome) -> FigureExhibit:
    """Draw the mean of each ring in each period."""
    means = mean_cells(analysis, outcome, ["intensity", "period", "ring"])
    return FigureExhibit(
        f"periods_{outcome.name}",
        ring_periods(without_wild_intervals(means), analysis.rings, name_with_unit(outcome)),
        f"{outcome.label} by period and ring: mean over riders with 95 % interval between riders (wide, because riders"
        " differ; rings are compared within riders; none for fewer than three). Look for a drift over periods."
        f" {OWN_AXES}",
        f"Mean {outcome.label} by period, one panel an intensity, one marker a ring;"
        f" {reach_in_words(means, analysis.study.settings.intensity_label)}.",
        means,
    )


def meter_table(analysis: RingsAnalysis) -> TableExhibit:
    """Give what a meter alone would add to each ring − round."""
    return TableExhibit(
        "meter",
        analysis.ring_gaps(),
        "What a meter alone would add to each oval ring − round, by speed readings a turn, with the same torque on all"
        " rings: mean, lowest and highest rider.",
        {
            "sectors": "readings a turn",
            "mean_W": "mean (W)",
            "lowest_W": "lowest (W)",
            "highest_W": "highest (W)",
        },
        {"mean_W": 2, "lowest_W": 2, "highest_W": 2},
    )


def floor_table(analysis: RingsAnalysis, outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Show the measuring floor beside each contrast and its standard error."""
    return TableExhibit(
        f"floor_{outcome.name}",
        analysis.floors(outcome, effect),
        f"Measuring floor of {outcome.label}, ring − {effect.reference}{in_brackets(outcome.difference_unit)}: the"
        " standard error that zero torque, timing and turn-to-turn variation would give by themselves. Slope and angle"
        " errors of one recorder are common to all rings and left out.",
        {
            "floor": "measuring floor",
            "estimate": "difference",
            "se": "standard error",
            "share_of_se": "floor / standard error",
        },
        {"floor": 3, "estimate": 3, "se": 3, "share_of_se": 2},
    )
