"""Figures and tables that ask whether the answer hangs on a rider, a model, a scale or on time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.intensity_labels import NO_LABELS
from analysis_lib.reports.figures.sensitivity_figures import forest, residual_panels
from analysis_lib.reports.study.effect_exhibits import (
    EFFECT_DIGITS,
    EFFECT_HEADINGS,
    name_with_unit,
    show_digits,
)
from analysis_lib.reports.study.sister_analyses import (
    FIRM,
    FIXED,
    MIXED,
    MIXED_BY_INTENSITY,
    PRIMARY,
    RELABELLED,
    SURE,
    SisterAnalyses,
)
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect, ring_effect
from analysis_lib.statistics.estimates import decimals_for
from analysis_lib.statistics.fixed_riders import FixedRiders
from analysis_lib.statistics.period_effects import period_effects
from analysis_lib.statistics.sensitivity import leave_one_out
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome, in_brackets

WAYS = {
    PRIMARY: "t on the riders' contrasts.",
    RELABELLED: "The riders' sequences dealt otherwise; it rests on riders and periods with a value at every intensity, so"
    " its estimate may differ where trials are missing. It cannot decide where p cannot fall below 0.05.",
    MIXED: "Every trial; random rider, rider:ring and rider:period.",
    MIXED_BY_INTENSITY: "With rider:intensity (each rider's own level at an intensity, which otherwise counts as noise"
    " there), rider:ring:intensity and a residual variance at each intensity too.",
    FIXED: "Rider, period and ring by least squares, for these riders only.",
    FIRM: "The primary analysis without the trials used under caution.",
    SURE: "The primary analysis without the trials in which the crank turns as on the other ring.",
}
"""What each analysis is, in a sentence or two."""


def agreement_sentences(sisters: SisterAnalyses, labels: Mapping[str, str] = NO_LABELS) -> list[str]:
    """Say whether the analyses agree, overall and at each intensity, and which could not be made."""
    refused = [
        f"{name[0].upper()}{name[1:]} cannot be made: {reason}." for name, reason in sisters.refused.items()
    ]
    return [
        sisters.agreement_sentence(),
        sisters.undeciding_sentence(),
        sisters.fixed_against_mixed_sentence(),
        *sisters.single_sentences(labels),
        *refused,
    ]


def forest_exhibit(sisters: SisterAnalyses) -> FigureExhibit:
    """Draw the overall estimate by every analysis, one under the other."""
    outcome, overall = sisters.outcome, sisters.overall
    verdicts = ", ".join(f"{row.analysis} {row.verdict}" for row in overall.itertuples())
    return FigureExhibit(
        f"analyses_{outcome.name}",
        forest(
            overall,
            outcome.smallest_effect,
            f"{outcome.label}, oval − round{in_brackets(outcome.difference_unit)}",
        ),
        f"{name_with_unit(outcome)}, oval − round, all intensities together, by every analysis: estimate with 95 %"
        " interval. Shaded: smaller than the smallest effect that matters. Look for an interval that tells"
        " another story than the first.",
        f"Forest plot of {len(overall)} analyses of {outcome.label}: {verdicts}.",
        overall,
    )


def analyses_table(sisters: SisterAnalyses) -> TableExhibit:
    """Give every analysis at every intensity."""
    frame = sisters.moves().drop(columns=["low90", "high90"])
    decimals = decimals_for(float(frame["se"].iloc[0]))
    return TableExhibit(
        f"analyses_{sisters.outcome.name}",
        frame,
        f"{name_with_unit(sisters.outcome)}, oval − round, by every analysis. Moved: distance from the primary"
        " estimate, in the outcome's unit and in its standard errors. The next table says what each analysis is.",
        EFFECT_HEADINGS | {"moved_se": "moved (in its SE)", "smallest_p": "smallest possible p"},
        EFFECT_DIGITS
        | dict.fromkeys(("estimate", "se", "low", "high"), decimals)
        | {"moved": 2, "moved_se": 2},
    )


def ways_table(sisters: SisterAnalyses) -> TableExhibit:
    """Say what each analysis is, and what belongs to it alone: variance components, the floor of p."""
    names = list(dict.fromkeys(sisters.frame["analysis"]))
    notes = [
        f"{note[0].upper()}{note[1:]}" if (note := sisters.notes.get(name, "")) else "" for name in names
    ]
    frame = pd.DataFrame(
        {"analysis": names, "what_it_is": [WAYS[name] for name in names], "found_with_it": notes}
    )
    return TableExhibit(
        f"ways_{sisters.outcome.name}", frame, f"The analyses of {sisters.outcome.label} in the table above."
    )


def leave_one_out_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Show how the overall estimate moves when each rider in turn is left out."""
    overall = effect.contrasts[effect.contrasts["intensity"] == OVERALL]
    return TableExhibit(
        f"leave_one_out_{outcome.name}",
        leave_one_out(overall, effect.level, effect.resolution),
        f"{name_with_unit(outcome)}, oval − round overall, without each rider in turn. An answer that hangs on"
        " one rider shows here.",
        EFFECT_HEADINGS,
        EFFECT_DIGITS | show_digits(effect),
    )


def period_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give each period's effect, free of the ring."""
    frame = period_effects(analysis.outcome_table(outcome), outcome.label)
    decimals = decimals_for(float(frame["se"].min()))
    return TableExhibit(
        f"period_effects_{outcome.name}",
        frame[frame["intensity"] == OVERALL].drop(columns="note").reset_index(drop=True),
        f"{name_with_unit(outcome)}: each period minus the first, free of the ring effect, mean over"
        " intensities.",
        {**EFFECT_HEADINGS, "estimate": "difference", "versus": "minus period"},
        EFFECT_DIGITS | dict.fromkeys(("estimate", "se", "low", "high"), decimals),
    )


def residual_exhibit(outcome: Outcome, fixed: FixedRiders) -> FigureExhibit:
    """Draw what riders, periods and rings leave over, by sequence and period, one panel an intensity."""
    left = _single_intensities(fixed)
    return FigureExhibit(
        f"residuals_{outcome.name}",
        residual_panels(left, outcome.label, outcome.difference_unit),
        f"{name_with_unit(outcome)}: residuals of the fixed-rider analysis, one a trial (n = {len(left)}), by"
        " sequence and period. Look for a sequence or period that spreads more than the others, for a trial far"
        " from the rest, and for a spread that grows from panel to panel.",
        f"Dot plot of {len(left)} residuals by sequence and period, one panel an intensity; {_spread_in_words(left)}.",
        left,
    )


def residual_table(outcome: Outcome, fixed: FixedRiders) -> TableExhibit:
    """Give the spread of residuals by intensity, period, sequence and ring, and the trial farthest out."""
    left = _single_intensities(fixed)
    rows = []
    for by in ("intensity", "ring", "period", "sequence"):
        for name, here in left.groupby(by, sort=False, observed=True):
            far = here.iloc[int(here["standardised"].abs().fillna(0).argmax())]
            trial = (far["rider"], far["intensity"], far["period"])
            spread = float(np.sqrt((here["residual"] ** 2).mean()))
            rows.append((by, name, len(here), spread, float(far["standardised"]), *trial))
    columns = ["by", "group", "trials", "rms", "farthest", "rider", "intensity", "period"]
    return TableExhibit(
        f"residuals_{outcome.name}",
        pd.DataFrame(rows, columns=columns),
        f"{name_with_unit(outcome)}: root mean square of the residuals in each group, and the standardised residual"
        " farthest from 0. With a hundred trials one beyond 3 is to be expected less than once; it is looked at,"
        " not removed.",
        {"rms": "root mean square", "farthest": "farthest (in its SE)", "rider": "of rider"},
        {"rms": 2, "farthest": 2},
    )


def _single_intensities(fixed: FixedRiders) -> pd.DataFrame:
    left = fixed.residuals
    return left[left["intensity"] != OVERALL].reset_index(drop=True)


def _spread_in_words(left: pd.DataFrame) -> str:
    spread = np.sqrt((left["residual"] ** 2).groupby(left["intensity"], sort=False).mean())
    return "root mean squares of the panels " + ", ".join(f"{value:.2g}" for value in spread)


def log_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Repeat the primary analysis on the log scale and give it as a percentage; refused for values of 0 or below."""
    table = analysis.outcome_table(outcome)
    ratios = ring_effect(table, outcome.label, scale="log").ratios()
    percent = ratios.assign(
        **{name: 100 * (ratios[name] - 1) for name in ("ratio", "low", "high")}, scale="log"
    ).rename(columns={"ratio": "percent"})
    plain = analysis.effect(outcome).to_frame()
    means = table.groupby("intensity", observed=True)[outcome.label].mean()
    means[OVERALL] = means.mean()
    level = plain["intensity"].map(means.to_dict()).astype(float)
    linear = pd.DataFrame(
        {name: 100 * plain[source] / level for name, source in _LINEAR.items()} | {"scale": "linear"}
    ).assign(intensity=plain["intensity"], p=plain["p"], n=plain["n"])
    columns = ["intensity", "scale", "percent", "low", "high", "p", "n"]
    return TableExhibit(
        f"log_scale_{outcome.name}",
        pd.concat([percent, linear])[columns].sort_values("intensity", key=_in_order(plain), kind="stable"),
        f"{outcome.label}, oval − round in percent: from ratios (log scale, for differences that grow with the"
        " value) and from differences over the mean of all trials. Where both say the same, the scale does not"
        " matter.",
        {**EFFECT_HEADINGS, "percent": "oval − round (%)"},
        {**EFFECT_DIGITS, "percent": 2, "low": 2, "high": 2},
    )


_LINEAR = {"percent": "estimate", "low": "low", "high": "high"}


def _in_order(frame: pd.DataFrame):
    order = {name: place for place, name in enumerate(frame["intensity"])}
    return lambda column: column.map(order)
