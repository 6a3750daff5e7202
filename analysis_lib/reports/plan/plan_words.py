"""Sentences of the plan on the notebook's page."""

from __future__ import annotations

from analysis_lib.reports.plan.planned_study import TRIED_WASHOUT_HOURS, PlannedStudy
from analysis_lib.statistics.estimates import show_count, show_number
from analysis_lib.statistics.simulated_rings import SimulatedRings
from analysis_lib.study.planning.missing_plan import needed_keys, suggest_spread
from analysis_lib.study.planning.plan import STUDIES, RingsPlan, StudyPlan
from analysis_lib.study.planning.protocol_text import describe_cautions, unit_after


def origin(planned: PlannedStudy) -> list[str]:
    """Say whose plan this is, and what to add where the study has none."""
    if not planned.is_tried:
        return ["The plan is that of study.toml."]
    return [
        "study.toml has no plan: the numbers below were tried out in this notebook and bind nobody"
        f" (rest of {TRIED_WASHOUT_HOURS:g} h; allocation from the study's own seed). To plan the study, add to it:",
        *needed_keys(),
    ]


def answer(plan: StudyPlan) -> list[str]:
    """Answer the question of the plan: can these riders show what matters, and can they show that nothing does?"""
    wanted, outcome = plan.settings.planned, plan.settings.primary_outcome
    all_of_it = plan.simulated[-1]
    unit = unit_after(outcome)
    enough = "enough" if plan.is_enough else "too few"
    return [
        (
            f"{len(plan.riders)} riders are {enough} for {outcome.label}: a true effect of"
            f" {outcome.smallest_effect:g}{unit}{_of_a_ring(plan)} is found in {_percent(all_of_it.power)} of"
            f" {STUDIES} simulated studies with drop-outs, {_percent(wanted.power)} being wanted."
        ),
        _by_chance(plan),
        (
            f"The smallest effect that those who are expected to finish ({show_count(plan.finishing, 'rider')}) find with"
            f" that power is {show_number(plan.detectable_effect)}{unit}."
        ),
    ]


def _percent(share: float, digits: int = 0) -> str:
    return f"{100 * share:.{digits}f} %"


def _by_chance(plan: StudyPlan) -> str:
    nothing, half, _ = plan.simulated
    if isinstance(nothing, SimulatedRings):
        return (
            f"Without any effect, {_percent(nothing.found_any, 1)} of the studies find some ring by chance, and a ring is"
            f" shown to do nothing as large as that in {_percent(nothing.verdicts['equivalent'])}; with effects of half"
            f" that size {_percent(half.verdicts['undecided'])} of the rings stay undecided."
        )
    return (
        f"Without any effect, {_percent(nothing.verdicts['equivalent'])} of the studies show that none as large as"
        f" that is there, and {_percent(nothing.power, 1)} find one by chance; with an effect of half that size"
        f" {_percent(half.verdicts['undecided'])} stay undecided."
    )


def _of_a_ring(plan: StudyPlan) -> str:
    return " of one oval ring against round, all rings allowed for," if isinstance(plan, RingsPlan) else ""


def spread(plan: StudyPlan) -> list[str]:
    """Say which spread within riders the plan rests on, and what others found."""
    wanted, outcome = plan.settings.planned, plan.settings.primary_outcome
    first, *found = suggest_spread(plan.settings)
    listed = "; ".join(line.strip().removeprefix("- ").removesuffix(".") for line in found)
    return [
        f"The plan takes {wanted.within_rider_sd:g}{unit_after(outcome)} from: {wanted.within_rider_sd_source}.",
        f"{first} {listed}." if listed else first,
    ]


def relabelling(plan: StudyPlan) -> list[str]:
    """Say how small a p the relabelling test can give; refused for two rings in other than two sequences."""
    counts = ", ".join(f"{name} {count}" for name, count in plan.riders_by_sequence.items())
    return [
        f"With riders by sequence {counts} a relabelling test cannot give a p below {plan.relabelling_floor:.2g}."
    ]


def design(plan: StudyPlan) -> list[str]:
    """Say what the design does to the variance, with its warning."""
    return [plan.design_variance.sentence()]


def doubts(plan: StudyPlan) -> list[str]:
    """List what weakens the plan."""
    response = plan.settings.planned.response_sd
    return [
        *describe_cautions(plan),
        (
            "Everything hangs on the SD within a rider: the figure above shows how the number of riders grows with"
            " its square."
        ),
        (
            f"Riders are taken to differ in their true effect by an SD of {response:g}; if they differ more, more"
            " riders are needed, and no number of trials a rider replaces them."
        ),
        "Drop-outs are taken to be unrelated to the ring. If riders stop because of a ring, no plan mends that.",
    ]


def methods(plan: StudyPlan) -> list[str]:
    """Say how the numbers were made."""
    wanted = plan.settings.planned
    return [
        _formula(plan),
        (
            f"Power by simulation: {STUDIES} studies from the study's seed, analysed as the study's page does;"
            f" {_percent(wanted.dropout)} of riders stop after a period drawn at random, and period effects that all"
            " riders share are as large as the SD within a rider."
        ),
        (
            "Allocation: blocks drawn from plan.allocation_seed; order of intensities: Williams designs drawn from"
            " seeds derived from it. Variance of designs: least squares with riders and periods, Jones & Kenward"
            " 2014, ch. 3."
        ),
    ]


def _formula(plan: StudyPlan) -> str:
    if isinstance(plan, RingsPlan):
        return (
            "Power by formula: non-central t of one oval ring against round from rider + period + ring least squares,"
            " beyond Dunnett's simultaneous point for all oval rings, and Owen's integral for two one-sided tests at"
            " alpha over the number of oval rings; exact where each rider rides each ring once."
        )
    return (
        "Power by formula: non-central t of the riders' contrasts (paired, and adjusted for sequence) and"
        " Owen's integral for two one-sided tests, both exact for normal contrasts."
    )
