"""The protocol in words, for people: question, outcomes, design, size, analysis, rules."""

from __future__ import annotations

from hashlib import sha256

import pandas as pd

from analysis_lib.statistics.contrasts import OVERALL_RULE
from analysis_lib.statistics.estimates import show_count, show_level, show_number
from analysis_lib.statistics.trial_table import OVERALL_OF_PERIODS
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.protocol import Outcome, Rules
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.outcomes.metabolic_power import EQUATIONS
from analysis_lib.study.planning.plan import StudyPlan
from analysis_lib.study.planning.plan_power import EQUIVALENCE, power_table
from analysis_lib.study.planning.schedule import REST_RULE

#: Confidence level of the pages' intervals.
LEVEL = 0.95
ANALYSIS = (
    "Per rider and intensity one contrast: the mean of the oval periods minus the mean of the round periods;"
    f" {OVERALL_RULE}. The estimate is the unweighted mean of the"
    " sequence means of these contrasts, t with riders minus sequences degrees of freedom, 95 % interval. The"
    " primary result is the overall effect on the primary outcome. Verdict: equivalent when the 90 % interval lies"
    " inside the smallest effect that matters, difference when the 95 % interval excludes zero, else undecided."
    " Intensities are adjusted by Holm's method; other outcomes describe. Secondary: a mixed model with rider,"
    " rider by ring and rider by period as random terms, Kenward-Roger degrees of freedom, on every trial."
    " Carry-over and period effects are shown with intervals and never choose the analysis. Riders without a value"
    " on both rings are left out of the primary analysis and counted."
)
ANALYSIS_OF_RINGS = (
    f"Per intensity and overall: value = rider + period + ring by least squares, all fixed; {OVERALL_OF_PERIODS}. Each"
    " oval ring against the round one, intervals and p simultaneous over the oval rings by the"
    " multivariate t distribution (Dunnett). The primary result is the overall effect of each oval ring on the primary"
    " outcome. Verdict for each: equivalent when both one-sided tests at 0.05 divided by the number of oval rings"
    " reject the smallest effect that matters, difference when the simultaneous 95 % interval excludes zero, else"
    " undecided. Intensities and other outcomes describe. Secondary: F test of rings; oval rings among themselves with"
    " Dunn's intervals and Holm's p; each ring by its own two-ring fit; a mixed model with riders random. Carry-over"
    " and period effects are shown with intervals and never choose the analysis. Riders without a value on some ring"
    " stay in with the others and are counted."
)
_IN_PRESENT_WORDS = {
    "8f3469ed521e9deb3e0b1e550fe051273e485c0f3ab6445261f782423d318d57": ANALYSIS,
    "f944d944279600911c02d34019c9b32c78a49554156f4bc8a6c5fe42f0171d4e": ANALYSIS_OF_RINGS,
}
"""What an analysis of older protocols, by the checksum of its words, is called now. The analysis is the same; its older
words did not say what a missing value does to the overall estimate, and with one oval ring they fit it only where no period
lacks an intensity."""

_BETTER = {"higher": "higher is better", "lower": "lower is better", "neither": "neither direction is better"}

_SOURCE = {
    "signals": "from the recordings",
    "trials": "a column of trials.csv",
    "derived": "derived from gas exchange and the recordings",
}
_ZERO_MODELS = {
    "line": "a line between the checks around a trial",
    "temperature": "a fit of all checks of the recorder against temperature",
}
_RULE_UNITS = {"rpm": "rpm", "s": "s", "deg": "°", "Nm": "N·m", "hours": "h", "pct": "%"}


def describe_analysis(settings: StudySettings) -> str:
    """Say how the study's page will analyse it."""
    return ANALYSIS if len(settings.oval_rings) == 1 else ANALYSIS_OF_RINGS


def in_present_words(method: object) -> object:
    """Say an analysis of a frozen protocol as it is said now, where only the words have changed since."""
    return _IN_PRESENT_WORDS.get(sha256(str(method).encode()).hexdigest(), method)


def write_protocol(plan: StudyPlan, trials_listed: int = 0) -> str:
    """Write the protocol as Markdown; `trials_listed` is how many trials there were when it was frozen."""
    settings = plan.settings
    sections = {
        "What is asked": [settings.study.question],
        "What is measured": [
            *[_describe_outcome(outcome, plan) for outcome in settings.outcomes],
            *_describe_metabolism(settings),
        ],
        "Who rides what, and when": _describe_design(plan),
        "How many riders, and what can they show": describe_size(plan),
        "How it will be analysed": [describe_analysis(settings)],
        "What is left out": _describe_rules(plan),
        "What must be known beside this": describe_cautions(plan, trials_listed),
    }
    parts = [f"# Protocol: {settings.study.name}"]
    for heading, lines in sections.items():
        parts.append(f"## {heading}\n\n" + "\n\n".join(lines))
    return "\n\n".join(parts) + "\n"


def _describe_outcome(outcome: Outcome, plan: StudyPlan) -> str:
    rank = "Primary" if outcome.primary else "Secondary"
    at = f", at {listed(outcome.intensities)} alone" if outcome.intensities else ""
    text = (
        f"- {rank}: {outcome.label} (`{outcome.name}`, {_SOURCE[outcome.source]}{at});"
        f" {_BETTER[outcome.better]}; smallest effect that matters {outcome.smallest_effect:g}{unit_after(outcome)}."
    )
    if outcome.primary:
        reason = plan.settings.planned.smallest_effect_source
        text += f" Why: {reason}." if reason else " No reason for that number was written down."
    return text


def _describe_metabolism(settings: StudySettings) -> list[str]:
    rules = settings.metabolism
    if rules is None:
        return []
    return [
        f"Gases become metabolic power by the equation of {EQUATIONS[rules.equation].source}. A trial whose oxygen"
        f" uptake changes by more than {rules.steady_change_pct:g} % from one minute to the next, or whose exchange"
        f" ratio lies outside {rules.lowest_exchange_ratio:.2f} to {rules.highest_exchange_ratio:.2f}, has no value."
    ]


def _describe_design(plan: StudyPlan) -> list[str]:
    wanted, settings = plan.settings.planned, plan.settings
    orders = "; ".join(f"{name}: {', '.join(order)}" for name, order in settings.design.sequences.items())
    counts = ", ".join(f"{name} {count}" for name, count in plan.riders_by_sequence.items())
    reason = (
        f" ({wanted.washout_reason})" if wanted.washout_reason else ", for which no reason was written down"
    )
    return [
        f"Randomised crossover, {settings.periods} periods, {wanted.periods_a_visit} a visit. Sequences: {orders}.",
        (
            f"Riders are allocated to sequences in blocks from a stored seed: {counts}. The rest is at"
            f" least {wanted.washout_hours:g} h {REST_RULE}{reason}; the schedule has it at the first ride of each."
        ),
        (
            "Every rider first rides each ring once to get used to it. The intensities"
            f" ({', '.join(settings.intensity_names)}) come in an order that each rider keeps and that is"
            " counterbalanced over riders."
        ),
        plan.design_variance.sentence(),
    ]


def describe_size(plan: StudyPlan) -> list[str]:
    """Say what the planned riders can show, by formula and by simulation."""
    wanted, outcome = plan.settings.planned, plan.settings.primary_outcome
    unit = unit_after(outcome)
    lines = [
        (
            f"{len(plan.riders)} riders are recruited, {plan.finishing} are expected to ride all periods. SD within"
            f" a rider: {wanted.within_rider_sd:g}{unit}, from: {wanted.within_rider_sd_source}. SD of a rider's"
            f" contrast: {show_number(plan.contrast_sd)}{unit}."
        ),
        *[_describe_test(row, plan) for row in power_table(plan).itertuples()],
        (
            f"Smallest effect that {plan.finishing} riders find with a power of {wanted.power:g}:"
            f" {show_number(plan.detectable_effect)}{unit}; the smallest that matters is"
            f" {outcome.smallest_effect:g}{unit}."
        ),
        *[found.sentence() for found in plan.simulated],
    ]
    if plan.sequences == 2 and len(plan.settings.oval_rings) == 1:
        floor = f"{plan.relabelling_floor:.2g}"
        lines.append(f"A test by relabelling sequences cannot give a p below {floor} with these riders.")
    return lines


def _describe_test(row, plan: StudyPlan) -> str:
    unit = unit_after(plan.settings.primary_outcome)
    bounds = f", bounds ±{plan.smallest_effect:g}{unit}" if row.test == EQUIVALENCE else ""
    size = (
        "no number of riders is enough"
        if pd.isna(row.riders_needed)
        else f"{row.riders_needed} riders needed, {row.recruit} to recruit"
    )
    return (
        f"- {row.test}, true effect {row.true_effect:g}{unit}{bounds}: {size} for a power of"
        f" {plan.settings.planned.power:g}; planned riders give {row.power_all_ride:.3f} if all finish,"
        f" {row.power_some_stop:.3f} if {plan.finishing} do."
    )


def _describe_rules(plan: StudyPlan) -> list[str]:
    rules = plan.settings.rules.model_dump()
    lines = [f"- {_say_rule(name, rule)}" for name, rule in rules.items()]
    said = [f"- {rule}" for rule in plan.settings.planned.exclusions]
    return [*lines, *(said or ["No further rule was written down."])]


def describe_cautions(plan: StudyPlan, trials_listed: int = 0) -> list[str]:
    """Say what weakens this plan, and what no plan can mend."""
    wanted = plan.settings.planned
    lines = []
    if trials_listed:
        lines.append(
            f"When this protocol was frozen, trials.csv listed {show_count(trials_listed, 'trial')} already: about those"
            " it promises nothing."
        )
    if plan.design_variance.warning:
        lines.append(plan.design_variance.warning)
    if not plan.is_enough:
        lines.append(
            f"The planned riders are too few: simulated{' with drop-outs' if wanted.dropout else ''}, the smallest effect"
            f" that matters is found with a power of {plan.simulated[-1].power:.2f}, {wanted.power:g} being"
            f" wanted{_of_a_ring(plan)}."
        )
    if len(set(plan.riders_by_sequence.values())) > 1:
        counts = ", ".join(f"{name} {count}" for name, count in plan.riders_by_sequence.items())
        lines.append(
            f"The last block is cut short, so the sequences have unequal numbers of riders: {counts}.{_equal_blocks(plan)}"
        )
    if abs(1 - wanted.alpha - LEVEL) > 1e-9:
        lines.append(
            f"The pages give {show_level(LEVEL)} intervals, whatever alpha the plan has ({wanted.alpha:g})."
        )
    return [
        *lines,
        "Riders see and feel which ring they ride: expectation can move any outcome that effort can move.",
        (
            "Who has the seed can draw the allocation. Staff who enrol riders or meet them get the concealed list"
            " and schedule; the open ones are for whoever mounts the rings."
        ),
    ]


def _say_rule(name: str, rule: float | bool | str | None) -> str:
    if name == "zero_check_required":
        return "trials without a zero check: " + (
            "left out" if rule else "analysed, with zero torque taken as 0"
        )
    if name == "zero_model":
        return "zero torque: " + _ZERO_MODELS[str(rule)]
    unit = _RULE_UNITS.get(name.rsplit("_", 1)[-1], "")
    shown = "not set" if rule is None else f"{rule:g} {unit}".strip()
    return f"{Rules.model_fields[name].description}: {shown}"


def _equal_blocks(plan: StudyPlan) -> str:
    """Say which block would give equal numbers, where any does."""
    if len(plan.riders) % plan.sequences:
        return f" A multiple of {plan.sequences} riders can be shared out equally."
    return f" With riders_a_block = {plan.sequences} they are equal, and the last rider of a block can be foretold."


def _of_a_ring(plan: StudyPlan) -> str:
    return " for each oval ring" if len(plan.settings.oval_rings) > 1 else ""


def unit_after(outcome: Outcome) -> str:
    """Write the unit of an outcome's differences as it stands after a number; a score has none."""
    return f" {outcome.difference_unit}" if outcome.difference_unit else ""
