"""Figures and tables of one outcome's ring effect: by intensity, by rider, by period."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.effect_figures import effect_panel, paired_panels, period_panels
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.estimates import decimals_for, show_level, show_number
from analysis_lib.statistics.multiplicity import simultaneous_intervals
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after

EFFECT_HEADINGS = {
    "estimate": "oval − round",
    "low": "95 % low",
    "high": "95 % high",
    "low_together": "95 % low, all at once",
    "high_together": "95 % high, all at once",
    "low90": "90 % low",
    "high90": "90 % high",
    "p_holm": "p (Holm)",
    "n": "riders",
}
OWN_AXES = "Each panel has its own axis, of the same span."
EFFECT_DIGITS = {"t": 2, "df": 1}


def name_with_unit(outcome: Outcome) -> str:
    """Return an outcome's label with its unit in brackets, where it has one."""
    return f"{outcome.label} ({outcome.unit_shown})" if outcome.unit_shown else outcome.label


def add_simultaneous(effect: RingEffect, level: float = 0.95) -> pd.DataFrame:
    """Return the effect's frame with intervals that hold at all intensities at once; none for "overall"."""
    singles = {name: effect.estimates[name] for name in effect.intensities}
    bounds = simultaneous_intervals(singles, level)
    rows = [(name, found.low, found.high) for name, found in bounds.items()]
    together = pd.DataFrame(rows, columns=["intensity", "low_together", "high_together"])
    return effect.to_frame().merge(together, how="left", on="intensity")


def effect_exhibit(outcome: Outcome, effect: RingEffect, level: float = 0.95) -> FigureExhibit:
    """Draw one outcome's effect by intensity with the zone that does not matter."""
    frame = add_simultaneous(effect, level)
    overall = frame[frame["intensity"] == OVERALL].iloc[0]
    decimals = decimals_for(effect.overall.se)
    estimate, low, high = (show_number(overall[name], decimals) for name in ("estimate", "low", "high"))
    return FigureExhibit(
        f"effect_{outcome.name}",
        effect_panel(
            frame, effect.contrasts, outcome.smallest_effect, outcome.label, outcome.difference_unit
        ),
        f"{outcome.label}, oval − round: estimate (diamonds) with {show_level(level)} interval (capped bar; thin line: the"
        " longer one that holds for all intensities at once), beside each rider's own contrast (dots). Shaded: smaller than"
        f" the smallest effect that matters, {outcome.smallest_effect:g}{unit_after(outcome)}. {riders_at_each(frame)} An"
        " interval inside the shade speaks for no effect that matters.",
        f"Point and interval plot of {outcome.label} by intensity; overall {estimate}{unit_after(outcome)}, interval"
        f" {low} to {high}.",
        frame,
    )


def riders_at_each(frame: pd.DataFrame) -> str:
    """Say how many riders a figure's estimates rest on."""
    low, high = frame["n"].min(), frame["n"].max()
    return f"Riders: {low}." if low == high else f"Riders: {low} to {high}, as the table says."


def effect_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Give estimate, interval, Holm-adjusted p and verdict at each intensity and overall."""
    frame = effect.to_frame().merge(effect.holm()[["intensity", "p_holm"]], how="left", on="intensity")
    frame = frame.merge(effect.verdicts(outcome.smallest_effect)[["intensity", "low90", "high90", "verdict"]])
    columns = ["intensity", "estimate", "se", "df", "low", "high", "p", "p_holm", "low90", "high90"]
    return TableExhibit(
        f"effect_{outcome.name}",
        frame[[*columns, "verdict", "n"]],
        f"{name_with_unit(outcome)}, oval − round. {_how_to_read(outcome, effect)}",
        EFFECT_HEADINGS,
        EFFECT_DIGITS | show_digits(effect),
    )


def _how_to_read(outcome: Outcome, effect: RingEffect) -> str:
    return explain_once(
        outcome,
        f"{effect.method}. Holm: adjusted for looking at every intensity; the overall row is one test and is not"
        " adjusted.",
        "equivalent when the 90 % interval lies inside, difference when the 95 % interval excludes zero, else undecided.",
    )


def explain_once(outcome: Outcome, columns: str, verdicts: str) -> str:
    """Explain columns and verdicts with the primary outcome; the others refer to it, so that a page says it once."""
    verdict = f"erdict against ±{outcome.smallest_effect:g}{unit_after(outcome)}"
    if not outcome.primary:
        return f"Columns as with the primary outcome; v{verdict}."
    return f"{columns} V{verdict}: {verdicts}"


def together_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Give intervals that hold at all intensities at once, beside Holm's p."""
    frame = add_simultaneous(effect).merge(effect.holm()[["intensity", "p_holm"]], on="intensity")
    return TableExhibit(
        f"together_{outcome.name}",
        frame[["intensity", "estimate", "low_together", "high_together", "p", "p_holm"]],
        f"{name_with_unit(outcome)}, oval − round, all intensities looked at together: with 95 % all of these"
        " intervals hold at once (Dunn 1961); p adjusted for having looked at all (Holm 1979).",
        EFFECT_HEADINGS,
        EFFECT_DIGITS | show_digits(effect),
    )


def show_digits(effect: RingEffect) -> dict[str, int]:
    """Return how many decimals show an effect: two digits of the overall standard error."""
    names = ("estimate", "se", "low", "high", "low90", "high90", "low_together", "high_together")
    return dict.fromkeys(names, decimals_for(effect.overall.se))


def paired_exhibit(analysis: StudyAnalysis, outcome: Outcome) -> FigureExhibit:
    """Draw each rider's round and oval mean, joined."""
    table = analysis.outcome_table(outcome).dropna(subset=[outcome.label])
    means = table.pivot_table(
        index=["intensity", "rider"], columns="ring", values=outcome.label, observed=True
    )
    cells = means.reindex(columns=["round", "oval"]).dropna().reset_index()
    if cells.empty:
        raise Refusal(
            outcome.label, "no rider with a value on both rings", "at least one", "nothing can be paired"
        )
    counts, called = cells["intensity"].value_counts(sort=False), analysis.study.settings.intensity_label
    return FigureExhibit(
        f"paired_{outcome.name}",
        paired_panels(cells, outcome.label, outcome.unit_shown),
        f"{outcome.label} on both rings, one line a rider (mean of the rider's periods on that ring)."
        " Riders: "
        + ", ".join(f"{called(name)} {count}" for name, count in counts.items())
        + ". Look for lines that lean the same way. "
        + OWN_AXES,
        f"Paired plot of {outcome.label} by ring, one panel an intensity; higher on the oval ring: "
        + ", ".join(
            f"{called(name)} {(part['oval'] > part['round']).sum()} of {len(part)} riders"
            for name, part in cells.groupby("intensity", sort=False, observed=True)
        )
        + ".",
        cells,
    )


def period_exhibit(analysis: StudyAnalysis, outcome: Outcome, level: float = 0.95) -> FigureExhibit:
    """Draw the mean of each ring in each period."""
    means = mean_cells(analysis, outcome, ["intensity", "period", "ring"], level)
    called = analysis.study.settings.intensity_label
    return FigureExhibit(
        f"periods_{outcome.name}",
        period_panels(without_wild_intervals(means), outcome.label, outcome.unit_shown),
        f"{outcome.label} by period and ring: mean over riders with {show_level(level)} interval between"
        " riders (wide, because riders differ; the comparison of rings is made within riders; none for fewer than"
        " three). Look for a drift over periods. " + OWN_AXES,
        f"Mean {outcome.label} by period, one panel an intensity, one marker a ring; {reach_in_words(means, called)}.",
        means,
    )


def without_wild_intervals(means: pd.DataFrame) -> pd.DataFrame:
    """Return means to draw: fewer than three riders have no interval, or one that would flatten all the others."""
    few = means["n"] < 3
    return means.assign(**{end: means[end].mask(few, means["mean"]) for end in ("low", "high")})


def reach_in_words(means: pd.DataFrame, called: Callable[[object], str] = str) -> str:
    """Say between which values the means of each intensity lie; `called` says what the page calls it."""
    parts = means.groupby("intensity", sort=False, observed=True)["mean"]
    return "lowest to highest mean: " + ", ".join(
        f"{called(name)} {part.min():.4g} to {part.max():.4g}" for name, part in parts
    )


def mean_cells(
    analysis: StudyAnalysis, outcome: Outcome, cells: list[str], level: float = 0.95
) -> pd.DataFrame:
    """Riders, mean, SD and interval of the mean between riders in each cell."""
    table = analysis.outcome_table(outcome).dropna(subset=[outcome.label])
    values = table.groupby(cells, observed=True)[outcome.label]
    means = values.agg(n="size", mean="mean", sd="std").reset_index()
    reach = (
        scipy.stats.t.ppf((1 + level) / 2, np.maximum(means["n"] - 1, 1)) * means["sd"] / np.sqrt(means["n"])
    )
    return means.assign(low=means["mean"] - reach, high=means["mean"] + reach)


def period_means_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give the result of each ring in each period, by sequence."""
    return TableExhibit(
        f"by_period_{outcome.name}",
        mean_cells(analysis, outcome, ["intensity", "sequence", "period", "ring"]),
        f"{name_with_unit(outcome)} by intensity, sequence and period: mean, SD between riders and 95 %"
        " interval of the mean between riders. The figure before draws them, sequences with the same ring in a"
        " period together. Differences between rows of different sequences are differences between riders too.",
        {"low": "95 % low", "high": "95 % high", "n": "riders", "sd": "SD"},
        {"mean": 1, "sd": 1, "low": 1, "high": 1},
    )
