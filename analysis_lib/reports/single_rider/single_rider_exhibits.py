"""Figures and tables of a study of one rider."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.single_rider_figures import period_values, schedules
from analysis_lib.reports.single_rider.single_rider_analysis import SingleRiderAnalysis
from analysis_lib.reports.study.effect_exhibits import OWN_AXES, explain_once, name_with_unit
from analysis_lib.statistics.estimates import show_number
from analysis_lib.statistics.single_rider import SingleRiderEffect
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome

DIGITS = {
    "estimate": 2,
    "low": 2,
    "high": 2,
    "smallest_p": 4,
    "low_90": 2,
    "high_90": 2,
    "low_blocks": 2,
    "high_blocks": 2,
    "value": 2,
    "se": 2,
    "n_effective": 1,
    "se_turns": 2,
    "se_periods": 2,
    "share": 2,
    "se_endless": 2,
}


def periods_exhibit(analysis: SingleRiderAnalysis, outcome: Outcome) -> FigureExhibit:
    """Draw what every period gave, in the order ridden."""
    frame = analysis.periods(outcome)
    order = ", ".join(analysis.periods_ridden["ring"])
    return FigureExhibit(
        f"periods_{outcome.name}",
        period_values(frame, name_with_unit(outcome)),
        f"{outcome.label} of rider {analysis.rider} in every period, in the order ridden. Bars: 95 % of the"
        " scatter of the trial's turns, as they go together; points scatter by more, because days differ. Lines: mean of"
        " each ring. Look for drift, and for one period that carries the difference."
        f" {OWN_AXES}",
        f"Points by period, one panel an intensity, of {outcome.label}; rings in order {order}.",
        frame,
    )


def periods_table(analysis: SingleRiderAnalysis, outcome: Outcome) -> TableExhibit:
    """Give every period's value with its turns."""
    return TableExhibit(
        f"periods_{outcome.name}",
        analysis.periods(outcome),
        f"{name_with_unit(outcome)}, one row a period and intensity. Standard error: of the turns kept, which are worth"
        " as many independent ones as the last column says: fewer where successive turns are alike, more where a high turn"
        " tends to be followed by a low one, as when a rider holds a target.",
        {
            "se": "standard error of the turns",
            "n_turns": "turns kept",
            "n_effective": "worth independent turns",
        },
        DIGITS,
    )


def effects_frame(analysis: SingleRiderAnalysis, outcome: Outcome) -> pd.DataFrame:
    """Return one row an intensity, overall last: estimate, intervals, p, its floor, verdict and periods.

    A bound that does not exist, because there are too few schedules, is empty.
    """
    rows = []
    for intensity, effect in analysis.effects(outcome).items():
        wide, narrow = effect.test.interval(0.95), effect.test.interval(0.90)
        blocks = effect.bootstrap_interval(0.95)
        rows.append(
            {
                "intensity": intensity,
                "estimate": effect.test.estimate,
                "low": wide.low,
                "high": wide.high,
                "low_90": narrow.low,
                "high_90": narrow.high,
                "p": effect.test.p,
                "smallest_p": effect.test.smallest_p,
                "low_blocks": blocks.low,
                "high_blocks": blocks.high,
                "verdict": effect.test.verdict(outcome.smallest_effect),
                "periods": f"{effect.periods_round} + {effect.periods_oval}",
            }
        )
    return pd.DataFrame(rows).replace([np.inf, -np.inf], np.nan)


def _how_to_read(outcome: Outcome, effect: SingleRiderEffect) -> str:
    return explain_once(
        outcome,
        f"Intervals: all effects that the test ({effect.test.method}) does not reject; empty where schedules are too few."
        f" Blocks: 95 %, bootstrap of blocks of {effect.block_length} periods.",
        "equivalent when the 90 % interval lies inside, difference when p < 0.05, else undecided.",
    )


def effects_table(analysis: SingleRiderAnalysis, outcome: Outcome) -> TableExhibit:
    """Give oval − round at each intensity with the interval of the test, and of the block bootstrap beside it."""
    overall = analysis.effects(outcome)[OVERALL]
    return TableExhibit(
        f"effects_{outcome.name}",
        effects_frame(analysis, outcome),
        f"{name_with_unit(outcome)}, oval − round of rider {analysis.rider}. {_how_to_read(outcome, overall)}",
        {
            "estimate": "oval − round",
            "low": "95 % low",
            "high": "95 % high",
            "low_90": "90 % low",
            "high_90": "90 % high",
            "smallest_p": "smallest p possible",
            "low_blocks": "blocks, low",
            "high_blocks": "blocks, high",
            "periods": "periods, round + oval",
        },
        DIGITS,
    )


def schedules_exhibit(analysis: SingleRiderAnalysis, outcome: Outcome) -> FigureExhibit:
    """Draw the effect under every schedule that the lot could have given."""
    test = analysis.effects(outcome)[OVERALL].test
    beyond = int((abs(test.effects) >= abs(test.estimate) * (1 - 1e-9)).sum())
    words = f"{beyond} of {len(test.effects)} schedules give an effect as large in either direction"
    return FigureExhibit(
        f"schedules_{outcome.name}",
        schedules(test.effects, outcome.smallest_effect, name_with_unit(outcome) + ", oval − round"),
        f"Oval − round of {outcome.label}, {analysis.over_intensities(outcome)}, had the same periods been given other"
        f" rings: every schedule that the lot could have drawn ({analysis.lot}). Dashed: the schedule that was ridden;"
        f" {words}. Shaded: smaller than the smallest effect that matters.",
        f"Histogram of the effect over schedules; ridden {show_number(test.estimate, 2, signed=True)}; {words}.",
        pd.DataFrame({"effect": test.effects}),
    )


def noise_table(analysis: SingleRiderAnalysis, outcome: Outcome) -> TableExhibit:
    """Give what the scatter of turns alone would leave beside what periods show."""
    return TableExhibit(
        f"noise_{outcome.name}",
        analysis.turn_noise(outcome),
        f"Standard error of oval − round, {name_with_unit(outcome)}: what the scatter of turns within trials"
        " would leave by itself, beside what the scatter of periods on one ring gives. A small share says that longer"
        " trials would not help; more periods would.",
        {
            "se_turns": "from turns",
            "se_periods": "from periods",
            "share": "turns / periods",
            "se_endless": "with endless trials",
        },
        DIGITS,
    )
