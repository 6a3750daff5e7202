"""How riders respond, one by one: only what replicate periods can tell, and no list of responders."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.individual_figures import rider_effects
from analysis_lib.reports.figures.style import MANY
from analysis_lib.reports.study.effect_exhibits import name_with_unit
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.estimates import decimals_for, show_number
from analysis_lib.statistics.individual import IndividualEffects, individual_effects
from analysis_lib.statistics.paired_differences import REACH
from analysis_lib.statistics.response_spread import ResponseSpread
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.planning.protocol_text import unit_after


def riders_of(analysis: StudyAnalysis, outcome: Outcome) -> IndividualEffects:
    """Return each rider's effect, mean over intensities; refused where no ring was ridden in several periods."""
    return individual_effects(analysis.outcome_table(outcome), outcome.label, unit=outcome.difference_unit)


def rider_exhibit(outcome: Outcome, individual: IndividualEffects) -> FigureExhibit:
    """Draw each rider's effect with both intervals and the shrunken estimate."""
    many = len(individual.riders) > MANY
    riders = individual.riders.sort_values("effect" if many else "rider", ignore_index=True)
    axis = f"{outcome.label}, oval − round" + (
        f" ({outcome.difference_unit})" if outcome.difference_unit else ""
    )
    spread, bounds = individual.spread, individual.spread.interval()
    sd = f"{spread.sd:.2g}{unit_after(outcome)}, interval {bounds.low:.2g} to {bounds.high:.2g}"
    sd = "not estimable" if spread.collapsed else sd
    return FigureExhibit(
        f"riders_{outcome.name}",
        rider_effects(riders, _group_effect(riders), outcome.smallest_effect, axis),
        f"{name_with_unit(outcome)}, oval − round, of each rider (n = {len(riders)})"
        f"{', in the order of what was measured' if many else ''}. Thick"
        " bar: 95 % interval by the typical error of all riders. Thin line: by that rider's own replicates alone, cut off"
        " at the edge. Open circle: shrunken towards the group. Shaded: smaller than matters. Where one upright line"
        " crosses all bars, one response of all riders is possible.",
        f"Rows of {len(riders)} riders with intervals around their own effect; the SD of response is {sd}.",
        riders,
    )


def rider_table(outcome: Outcome, individual: IndividualEffects) -> TableExhibit:
    """Give each rider's effect with the intervals, shrunken beside measured."""
    columns = ["rider", "sequence", "periods_round", "periods_oval", "effect", "low_pooled", "high_pooled"]
    columns += ["shrunken", "low", "high", "df"]
    return TableExhibit(
        f"riders_{outcome.name}",
        individual.riders.sort_values("rider", ignore_index=True)[columns],
        f"{name_with_unit(outcome)}, oval − round, rider by rider, freed of what the riders of a sequence have in common (a"
        " rider's own page gives the plain difference). Interval: the rider's own periods with the typical error of all"
        " riders. Own replicates: from that rider's spread alone, on few degrees of freedom. Shrunken: the better guess at"
        " what the rider would show next time.",
        {
            "effect": "oval − round",
            "low_pooled": "95 % low",
            "high_pooled": "95 % high",
            "low": "own replicates: low",
            "high": "own replicates: high",
            "df": "own df",
        },
        dict.fromkeys(("effect", "low_pooled", "high_pooled", "shrunken", "low", "high"), 2),
    )


def response_sentences(outcome: Outcome, individual: IndividualEffects) -> list[str]:
    """Say how much riders differ in their response, beside what one rider's rides can show."""
    unit = f" {outcome.difference_unit}" if outcome.difference_unit else ""
    error = individual.typical_error
    # A difference between means of two periods a ring has the error of one difference of single trials over √2.
    seen = REACH * error * math.sqrt(1 / 2 + 1 / 2)
    return [
        f"{individual.spread.sentence()}.",
        f"{_spread_in_words(individual.spread, unit)} Whether one particular rider responds is not asked and not answered"
        " here.",
        (
            f"Typical error of one period (mean over its intensities): {show_number(error, 2)}{unit}"
            f" ({individual.typical_error_df} df). Between two periods of a rider on one ring, the smallest change that"
            f" error alone exceeds only once in 20 times is {show_number(REACH * math.sqrt(2) * error, 2)}{unit}; with two"
            f" periods on each ring the smallest detectable oval − round of one rider is {show_number(seen, 2)}{unit}."
        ),
    ]


def _spread_in_words(spread: ResponseSpread, unit: str) -> str:
    """Say whether riders differ, and how large a spread is left open."""
    bounds = spread.interval()
    if spread.collapsed:
        bound = spread.cautious_bound()
        shown = f"{show_number(bound, decimals_for(bound))}{unit}"
        return (
            "Neither a difference between riders nor its absence is shown. The contrasts alone, as if replicates had no"
            f" error, leave open a spread (SD) of up to {shown} (upper end of its 95 %"
            " interval by χ²)."
        )
    zero = (
        "No difference between riders in their response is shown"
        if bounds.low == 0
        else "Riders differ in their response"
    )
    return f"{zero}; a spread (SD) of up to {show_number(bounds.high, 2)}{unit} is compatible with the data."


def _group_effect(riders: pd.DataFrame) -> float:
    """Mean of the sequence means, as the primary analysis weighs them."""
    return float(riders.groupby("sequence")["effect"].mean().mean())
