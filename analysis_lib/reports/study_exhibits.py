"""Figures and tables of the study's page, each with caption and alternative text."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.effect_figures import (
    curve_difference_panels,
    effect_panel,
    paired_panels,
    period_panels,
)
from analysis_lib.reports.figures.mounting_figures import phase_rose
from analysis_lib.reports.figures.quality_figures import quality_strip
from analysis_lib.reports.rider_trials import NOT_USED
from analysis_lib.reports.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.curves import PairedCurves
from analysis_lib.statistics.estimates import show_level
from analysis_lib.statistics.period_effects import period_effects
from analysis_lib.study.protocol import Outcome

EFFECT_HEADINGS = {
    "estimate": "oval − round",
    "low": "95 % low",
    "high": "95 % high",
    "low90": "90 % low",
    "high90": "90 % high",
    "p_holm": "p (Holm)",
    "n": "riders",
}


def flow_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count riders and trials from the design to the analysis, by sequence and period."""
    trials = analysis.trials
    planned = len(analysis.intensities)
    allocated = analysis.study.riders.groupby("sequence")["rider"].size()
    rows = []
    for sequence, rings in analysis.study.settings.design.sequences.items():
        for period, ring in enumerate(rings, start=1):
            here = trials[(trials["sequence"] == sequence) & (trials["period"] == period)]
            riders = int(allocated.get(sequence, 0))
            used = int((here["state"] != NOT_USED).sum())
            rows.append((sequence, period, ring, riders, riders * planned, len(here), len(here) - used, used))
    columns = [
        "sequence",
        "period",
        "ring",
        "riders_allocated",
        "trials_planned",
        "trials_listed",
        "set_aside",
        "used",
    ]
    return TableExhibit(
        "flow",
        pd.DataFrame(rows, columns=columns),
        "Flow of riders and trials by sequence and period. Planned: riders allocated × intensities. Set"
        " aside: by a declared rule or because the recording could not be used; the next table gives every"
        " reason.",
    )


def set_aside_table(analysis: StudyAnalysis) -> TableExhibit:
    """List every trial and rider that was not used, with the reason."""
    trials = analysis.trials[analysis.trials["state"] == NOT_USED]
    rows = [(row.rider, row.trial, row.reason) for row in trials.itertuples()]
    rows += [(rider, "all", reason) for rider, reason in analysis.left_out.items()]
    frame = pd.DataFrame(rows or [("–", "–", "nothing was set aside")], columns=["rider", "trial", "reason"])
    return TableExhibit(
        "set_aside", frame, f"Trials and riders that were not used (n = {len(rows)}), and why."
    )


def quality_strip_exhibit(analysis: StudyAnalysis) -> FigureExhibit:
    """Show one cell a trial with its kept turns."""
    trials = analysis.trials
    cells = pd.DataFrame(
        {
            "column": [f"{i} P{p}" for i, p in zip(trials["intensity"], trials["period"], strict=True)],
            "rider": trials["rider"],
            "state": trials["state"].replace({"used": "kept"}),
            "text": [f"{n:.0f}" if n == n else "–" for n in trials["kept_turns"]],
        }
    )
    order = [f"{i} P{p}" for i in analysis.intensities for p in range(1, analysis.study.settings.periods + 1)]
    cells = cells.assign(column=pd.Categorical(cells["column"], order)).sort_values(["rider", "column"])
    poor = int((trials["state"] == NOT_USED).sum())
    return FigureExhibit(
        "quality_strip",
        quality_strip(cells.astype({"column": str}), "rider", order),
        "Data quality, one cell a trial (intensity and period P): number of whole turns kept. Plain: used;"
        " dotted tint: used with caution; hatched: not used; no cell: no trial was listed. Look for rows or"
        " columns that differ.",
        f"Strip of {len(trials)} cells, riders by intensity and period, with the number of turns kept; {poor}"
        " trials are not used.",
        cells,
    )


def baseline_table(analysis: StudyAnalysis) -> TableExhibit:
    """Describe the riders by sequence."""
    numbers = [name for name in ("mass_kg", "crank_length_mm") if name in analysis.study.riders]
    grouped = analysis.study.riders.groupby("sequence")
    rows = []
    for sequence, riders in grouped:
        for name in numbers:
            values = riders[name].dropna()
            rows.append(
                (sequence, name, len(values), values.mean(), values.std(), values.min(), values.max())
            )
    columns = ["sequence", "measure", "n", "mean", "sd", "lowest", "highest"]
    return TableExhibit("baseline", pd.DataFrame(rows, columns=columns), "Riders at the start, by sequence.")


def effect_exhibit(outcome: Outcome, effect: RingEffect, level: float = 0.95) -> FigureExhibit:
    """Draw one outcome's effect by intensity with the zone that does not matter."""
    frame = effect.to_frame()
    riders = ", ".join(f"{row.intensity} {row.n}" for row in frame.itertuples())
    overall = frame[frame["intensity"] == "overall"].iloc[0]
    return FigureExhibit(
        f"effect_{outcome.name}",
        effect_panel(frame, effect.contrasts, outcome.smallest_effect, outcome.label, outcome.unit),
        f"{outcome.label}, oval − round: estimate with {show_level(level)} interval (diamonds) beside each"
        " rider's own contrast (dots). Shaded: smaller than the smallest effect that matters,"
        f" {outcome.smallest_effect:g} {outcome.unit}, declared beforehand. Riders: {riders}. An interval"
        " wholly inside the shade speaks for no effect that matters.",
        f"Point and interval plot of {outcome.label} by intensity; overall {overall.estimate:.3g}"
        f" {outcome.unit}, interval {overall.low:.3g} to {overall.high:.3g}.",
        frame,
    )


def effect_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Give estimate, interval, Holm-adjusted p and verdict at each intensity and overall."""
    frame = effect.to_frame().merge(effect.holm()[["intensity", "p_holm"]], how="left", on="intensity")
    frame = frame.merge(effect.verdicts(outcome.smallest_effect)[["intensity", "low90", "high90", "verdict"]])
    return TableExhibit(
        f"effect_{outcome.name}",
        frame,
        f"{_with_unit(outcome)}, oval − round. {effect.method}. Holm: adjusted for looking at"
        " every intensity; the overall row is one test and is not adjusted. Verdict against"
        f" ±{outcome.smallest_effect:g} {outcome.unit}: equivalent when the 90 % interval lies inside,"
        " difference when the 95 % interval excludes zero, else undecided.",
        EFFECT_HEADINGS,
        {"t": 2, "df": 1, "p": 3, "p_holm": 3},
    )


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
    counts = cells["intensity"].value_counts(sort=False)
    return FigureExhibit(
        f"paired_{outcome.name}",
        paired_panels(cells, outcome.label, outcome.unit),
        f"{outcome.label} on both rings, one line a rider (mean of the rider's periods on that ring)."
        " Riders: "
        + ", ".join(f"{name} {count}" for name, count in counts.items())
        + ". Look for lines that lean the same way.",
        f"Paired plot of {outcome.label} by ring, one panel an intensity.",
        cells,
    )


def period_exhibit(analysis: StudyAnalysis, outcome: Outcome, level: float = 0.95) -> FigureExhibit:
    """Draw the mean of each ring in each period."""
    table = analysis.outcome_table(outcome).dropna(subset=[outcome.label])
    means = (
        table.groupby(["intensity", "period", "ring"], observed=True)[outcome.label]
        .agg(mean="mean", sd="std", n="size")
        .reset_index()
    )
    reach = stats.t.ppf((1 + level) / 2, np.maximum(means["n"] - 1, 1)) * means["sd"] / np.sqrt(means["n"])
    # One rider alone has no interval; none is drawn.
    means = means.assign(low=means["mean"] - reach.fillna(0), high=means["mean"] + reach.fillna(0))
    return FigureExhibit(
        f"periods_{outcome.name}",
        period_panels(means, outcome.label, outcome.unit),
        f"{outcome.label} by period and ring: mean over the riders of one sequence with {show_level(level)}"
        " interval between riders (wide, because riders differ; the comparison of rings is made within"
        " riders). Look for a drift over periods.",
        f"Mean {outcome.label} by period, one panel an intensity, one marker a ring.",
        means,
    )


def curve_exhibit(analysis: StudyAnalysis, curves: dict[str, PairedCurves]) -> FigureExhibit:
    """Draw the mean torque difference around the turn with its family-wise band."""
    degrees = np.arange(360) + 0.5
    frame = pd.concat(
        pd.DataFrame(
            {
                "intensity": name,
                "crank_deg": degrees,
                "mean": curve.mean,
                "low": curve.low,
                "high": curve.high,
            }
        )
        for name, curve in curves.items()
    )
    riders = ", ".join(f"{name} {len(analysis.curve_differences(name))}" for name in curves)
    outside = {name: curve.excludes_zero() for name, curve in curves.items()}
    found = "; ".join(f"{name}: {_runs_in_words(runs)}" for name, runs in outside.items())
    return FigureExhibit(
        "curve_difference",
        curve_difference_panels(frame),
        "Two-leg torque through the turn, oval − round: mean over riders with a 95 % band that holds for the"
        f" whole turn at once (sign flips of riders, largest |t|, the turn closed at 360°). Riders: {riders}."
        f" Where the band leaves zero: {found}.",
        "Mean torque difference curves with simultaneous bands, one panel an intensity; band excludes zero:"
        f" {found}.",
        frame,
    )


def _runs_in_words(runs: list[tuple[int, int]]) -> str:
    return ", ".join(f"{start}–{(end + 1) % 360 or 360}°" for start, end in runs) or "nowhere"


def phase_exhibit(analysis: StudyAnalysis, intensity: str) -> FigureExhibit:
    """Draw the riders' torque phases as a half-circle rose with their axial mean."""
    phases = analysis.phases(intensity)
    mean = analysis.mean_phase(intensity)
    bounds = mean.interval(0.95)
    return FigureExhibit(
        f"phases_{intensity}",
        phase_rose(phases.to_numpy(), mean.angle_deg, bounds.low, bounds.high),
        f"Torque phase on the round ring at {intensity}, one dot a rider (n = {len(phases)}); petal area"
        f" proportional to the count. Dashed: axial mean {mean.angle_deg:.1f}°, arc: its 95 % interval"
        f" {bounds.low:.1f}° to {bounds.high:.1f}°.",
        f"Half-circle rose of {len(phases)} torque phases; axial mean {mean.angle_deg:.0f} degrees.",
        phases.reset_index(),
    )


def leave_one_out_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Show how the overall estimate moves when each rider in turn is left out."""
    frame = effect.leave_one_out()
    return TableExhibit(
        f"leave_one_out_{outcome.name}",
        frame[frame["intensity"] == "overall"].reset_index(drop=True),
        f"{_with_unit(outcome)}, oval − round overall, without each rider in turn. An answer that hangs on"
        " one rider shows here.",
        EFFECT_HEADINGS,
        {"t": 2, "df": 1, "p": 3},
    )


def mixed_model_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give the mixed model's estimates beside the primary ones: it uses every trial, also of incomplete riders."""
    model = analysis.mixed_model(outcome)
    frame = model.to_frame().merge(
        analysis.effect(outcome).to_frame(), on="intensity", suffixes=("", "_primary")
    )
    components = ", ".join(f"{name} {value:.3g}" for name, value in model.variance_components.items())
    columns = ["intensity", "estimate", "se", "df", "p", "low", "high", "n", "estimate_primary", "se_primary"]
    return TableExhibit(
        f"mixed_model_{outcome.name}",
        frame[columns],
        f"{_with_unit(outcome)}, oval − round, from a mixed model of every trial. {model.method}. Variance"
        f" components: {components}. {' '.join(model.notes)} The last columns repeat the primary analysis: a"
        " disagreement would be a finding about the missing trials or the model.",
        {**EFFECT_HEADINGS, "estimate_primary": "primary: oval − round", "se_primary": "primary: se"},
        {"df": 1, "p": 3},
    )


def period_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give each period's effect, free of the ring."""
    frame = period_effects(analysis.outcome_table(outcome), outcome.label)
    return TableExhibit(
        f"period_effects_{outcome.name}",
        frame[frame["intensity"] == "overall"].drop(columns="note").reset_index(drop=True),
        f"{_with_unit(outcome)}: each period minus the first, free of the ring effect, mean over"
        " intensities.",
        {**EFFECT_HEADINGS, "estimate": "difference", "versus": "minus period"},
        {"t": 2, "df": 1, "p": 3},
    )


def _with_unit(outcome: Outcome) -> str:
    return f"{outcome.label} ({outcome.unit})" if outcome.unit else outcome.label


def meter_table(analysis: StudyAnalysis) -> TableExhibit:
    """Give what meters alone would add to oval − round."""
    return TableExhibit(
        "meter",
        analysis.meter_gaps(),
        "What a meter alone would add to oval − round, by speed readings a turn, with the same torque on both"
        " rings: mean, lowest and highest rider. More readings need not err less.",
        {
            "sectors": "readings a turn",
            "mean_W": "mean (W)",
            "lowest_W": "lowest (W)",
            "highest_W": "highest (W)",
        },
        {"mean_W": 2, "lowest_W": 2, "highest_W": 2},
    )
