"""Figures and tables of the plan, each with caption and alternative text."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.plan_figures import power_and_size
from analysis_lib.statistics.simulated_rings import SimulatedRings
from analysis_lib.study.planning import plan_power
from analysis_lib.study.planning.plan import STUDIES, RingsPlan, StudyPlan
from analysis_lib.study.planning.protocol_deviations import Deviation
from analysis_lib.study.planning.protocol_text import unit_after
from analysis_lib.study.planning.schedule import REST_RULE


def power_table(plan: StudyPlan) -> TableExhibit:
    """Give riders needed and power by formula, one row a test."""
    wanted, outcome = plan.settings.planned, plan.settings.primary_outcome
    return TableExhibit(
        "power_by_formula",
        plan_power.power_table(plan),
        f"Riders needed for a power of {wanted.power:g} at a two-sided level of {wanted.alpha:g}, and the power of"
        f" {len(plan.riders)} riders if all finish or {plan.finishing} do. Two one-sided t: bounds"
        f" ±{outcome.smallest_effect:g}{unit_after(outcome)}; the nearer the true effect lies to a bound, the more riders"
        " it takes. A dash: no number of riders is enough.",
        {
            "true_effect": f"true effect ({outcome.difference_unit})"
            if outcome.difference_unit
            else "true effect",
            "power_all_ride": "power, all finish",
            "power_some_stop": "power, some stop",
        },
        {"power_all_ride": 3, "power_some_stop": 3},
    )


def simulated_table(plan: StudyPlan) -> TableExhibit:
    """Give what simulated studies concluded, one row a true effect."""
    rows = [
        {
            "true_effect": found.effect,
            **found.verdicts,
            "zero_excluded": found.power,
            "zero_excluded_se": found.power_se,
            "coverage": found.coverage,
            **({"any_ring": found.found_any} if isinstance(found, SimulatedRings) else {}),
            **({"all_rings": found.found_all} if isinstance(found, SimulatedRings) else {}),
            "riders_analysed": found.mean_riders,
        }
        for found in plan.simulated
    ]
    unit = plan.settings.primary_outcome.difference_unit
    return TableExhibit(
        "simulated_verdicts",
        pd.DataFrame(rows),
        f"{STUDIES} simulated studies for each true effect{f' ({unit})' if unit else ''}, drop-outs included: share"
        " that ends in each verdict, share whose interval excludes zero with its Monte Carlo standard error, share"
        f" whose interval holds the true effect, and mean number of riders analysed.{_about_rings(plan)}",
        {"zero_excluded_se": "its standard error"},
        dict.fromkeys(
            ("difference", "equivalent", "undecided", "zero_excluded", "coverage", "any_ring", "all_rings"), 3
        )
        | {"zero_excluded_se": 4, "riders_analysed": 1},
    )


def _about_rings(plan: StudyPlan) -> str:
    if not isinstance(plan, RingsPlan):
        return ""
    return (
        " Every oval ring has the true effect. Verdicts and zero excluded: share of the rings; any ring, all rings:"
        " share of the studies that exclude zero for one or for all of them, so that any ring without a true effect is"
        " the chance of a false finding. Coverage: all intervals at once. Riders with two rings or more."
    )


def power_exhibit(plan: StudyPlan) -> FigureExhibit:
    """Draw power against riders, and riders needed against the SD within a rider."""
    wanted, outcome = plan.settings.planned, plan.settings.primary_outcome
    power, sizes = plan_power.power_curve(plan), plan_power.sizes_by_spread(plan)
    reached = plan.simulated[-1].power
    figure = power_and_size(
        power, sizes, len(plan.riders), wanted.power, wanted.within_rider_sd, outcome.difference_unit
    )
    return FigureExhibit(
        "power_and_size",
        figure,
        f"Left: power to find a true effect of {outcome.smallest_effect:g}{unit_after(outcome)}, by formula when nobody"
        f" stops and simulated with {100 * wanted.dropout:.0f} % stopping (bars: two Monte Carlo standard errors); grey:"
        f" power wanted and riders planned. Right: riders needed for a power of {wanted.power:g}, by the SD within"
        " a rider; grey: the SD and the riders of the plan. A line ends where more than"
        f" {plan_power.MOST_SHOWN} riders are needed.",
        f"Two line plots: power rises with riders and is {reached:.2f} at the {len(plan.riders)} planned; riders"
        " needed grow with the square of the SD within a rider.",
        pd.concat([power.assign(panel="power"), sizes.assign(panel="size")]),
    )


def _about_designs(plan: StudyPlan) -> str:
    if isinstance(plan, RingsPlan):
        return "mean over all pairs of rings"
    return "A and B are the two rings"


def designs_table(plan: StudyPlan) -> TableExhibit:
    """Compare this design with the usual ones."""
    return TableExhibit(
        "designs",
        plan.designs(),
        "Variance of the ring difference in σ²/N (σ: SD within a rider, N: riders; riders and periods taken out),"
        f" without and with carry-over in the model; {_about_designs(plan)}, ∞: cannot be known. More periods"
        f" cost more visits. Least squares, Jones & Kenward 2014, ch. {4 if isinstance(plan, RingsPlan) else 3}.",
        {"plain": "variance", "with_carry_over": "allowing for carry-over"},
        {"plain": 2, "with_carry_over": 2},
    )


def visits_table(plan: StudyPlan) -> TableExhibit:
    """Count rides by visit, period and sequence; who rides which sequence is not shown."""
    schedule = plan.schedule.merge(plan.allocation[["rider", "sequence"]])
    grouped = schedule.groupby(["visit", "period", "ride", "sequence"], as_index=False)
    counted = grouped.agg(
        rings=("ring", lambda rings: ", ".join(sorted(set(rings)))),
        riders=("rider", "nunique"),
        rides=("rider", "size"),
        rest_before_h=("rest_before_h", "first"),
    )
    return TableExhibit(
        "visits",
        counted,
        "Visits and periods, with rides and riders by sequence. Visit 0 is for getting used to each ring. Rest:"
        f" {REST_RULE}. The names stand in the open lists of the folder plan, for whoever mounts the rings.",
        {"rest_before_h": "rest before (h)"},
    )


def deviations_table(deviations: list[Deviation]) -> TableExhibit:
    """List where a study left its protocol."""
    rows = [(found.what, found.planned, found.found) for found in deviations]
    frame = pd.DataFrame(rows or [("nothing", "–", "–")], columns=["what", "planned", "found"])
    return TableExhibit(
        "protocol_deviations",
        frame,
        f"Deviations from the frozen protocol (n = {len(rows)}): files changed since, what study.toml declares,"
        " allocation, rests, order of intensities, reasons of exclusions.",
    )
