"""Which trials' gases tell the energy, and how well such outcomes repeat elsewhere and here."""

from __future__ import annotations

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.individual_exhibits import riders_of
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.outcomes.published_repeatability import Repeatability, published_repeatability
from analysis_lib.study.tables.derived_outcomes import POWER, is_across, why_refused

HAVE = "with a value"
NEAREST = {POWER: "vo2_L_min"}
"""Where nothing was published of an outcome itself: what it is made of."""


def gas_outcomes(analysis: StudyAnalysis) -> list[Outcome]:
    """The declared outcomes that are derived from gas exchange."""
    return [outcome for outcome in analysis.outcomes if outcome.source == "derived"]


def gas_sentences(analysis: StudyAnalysis) -> list[str]:
    """Say how many trials' gases were refused and why, and where the outcomes are analysed."""
    if not gas_outcomes(analysis):
        return []
    table, settings = gas_table(analysis).frame, analysis.study.settings
    listed, known = int(table["trials"].sum()), int(table[HAVE].sum())
    each = [
        f"{outcome.label} at {', '.join(map(settings.intensity_label, settings.intensities_of(outcome)))}"
        for outcome in gas_outcomes(analysis)
    ]
    lost = (
        f"{listed - known} of {show_count(listed, 'trial')} at these intensities have no value of gas exchange, by rules"
        " that are the same for every ring; the table counts the reasons. Such a trial lacks these outcomes and keeps its"
        " others."
    )
    return [
        "Efficiency and metabolic power rest on gas exchange, which tells the energy spent only in a steady state.",
        lost if known < listed else "Every trial at these intensities has a value of gas exchange.",
        f"As declared, this page analyses {'; '.join(each)}.",
    ]


def gas_tables(analysis: StudyAnalysis) -> list[TableExhibit]:
    """The table of refusals and that of repeatability; none for a study without such outcomes."""
    return [gas_table(analysis), repeatability_table(analysis)] if gas_outcomes(analysis) else []


def gas_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count, by intensity and ring, the trials with a value and those without by reason."""
    outcome = next((part for part in gas_outcomes(analysis) if not is_across(part)), None)
    if outcome is None:
        raise Refusal(
            "outcomes of gas exchange",
            "none that is worked out trial by trial",
            "gross_efficiency_pct or metabolic_power_W",
            "declare one beside",
        )
    rows = analysis.values_of(outcome.name)
    rows = rows[rows["intensity"].isin(analysis.levels(outcome))]
    state = rows["note"].map(why_refused).where(rows["value"].isna(), HAVE)
    counted = rows.groupby(["intensity", "ring", state.rename("state")]).size().unstack(fill_value=0)
    reasons = [name for name in counted if name != HAVE]
    counted = counted.reindex(columns=[HAVE, *reasons], fill_value=0)
    counted.insert(0, "trials", counted.sum(axis=1))
    frame = counted.reset_index().rename_axis(columns=None)
    return TableExhibit(
        "gases",
        in_order(analysis, frame),
        f"{outcome.label}: trials at its intensities that are not excluded, with a value, and without one by reason."
        f" {_rules(analysis)}",
    )


def in_order(analysis: StudyAnalysis, frame: pd.DataFrame) -> pd.DataFrame:
    """Sort rows by intensity as study.toml orders them, then by ring, the round one first."""
    place = {name: number for number, name in enumerate([*analysis.intensities, "round"])}
    return frame.sort_values(
        ["intensity", "ring"],
        key=lambda names: names.map(lambda name: place.get(name, len(place))),
        ignore_index=True,
    )


def _rules(analysis: StudyAnalysis) -> str:
    rules = analysis.study.settings.metabolism
    if rules is None:
        return ""
    return (
        f"No steady state: oxygen uptake changes by more than {rules.steady_change_pct:g} % from one minute to the next."
        f" The exchange ratio must lie within {rules.lowest_exchange_ratio:.2f} to {rules.highest_exchange_ratio:.2f}."
    )


def repeatability_table(analysis: StudyAnalysis) -> TableExhibit:
    """Set the published spread within riders beside this study's own typical error, outcome by outcome."""
    rows = []
    for outcome in gas_outcomes(analysis):
        mean = float(analysis.outcome_table(outcome)[outcome.label].mean())
        own = _typical_error(analysis, outcome)
        for found in published_repeatability(NEAREST.get(outcome.name, outcome.name)):
            rows.append(_row(outcome, mean, own, found))
    columns = [
        "outcome",
        "mean",
        "typical_error",
        "own_pct",
        "published_of",
        "published_pct",
        "published_sd",
        "source",
    ]
    return TableExhibit(
        "gas_repeatability",
        pd.DataFrame(rows, columns=columns),
        "How far a rider's values on one ring lie apart: this study's typical error of one period (mean over its"
        " intensities), beside the spread within riders that others published, at this study's mean. Other laboratories'"
        " riders, ergometers and days: a yardstick, no more.",
        {
            "typical_error": "typical error here",
            "own_pct": "of the mean (%)",
            "published_of": "published for",
            "published_pct": "published (%)",
            "published_sd": "that is, at this mean",
        },
        {"mean": 1, "typical_error": 2, "own_pct": 1, "published_pct": 1, "published_sd": 2},
    )


def _typical_error(analysis: StudyAnalysis, outcome: Outcome) -> float:
    try:
        return riders_of(analysis, outcome).typical_error
    except Refusal:
        return float("nan")


def _row(outcome: Outcome, mean: float, own: float, found: Repeatability) -> tuple:
    unit = f" ({outcome.unit_shown})"
    source = f"{found.source}: {found.details}"
    published = (found.measure, found.spread_pct, found.sd(mean), source)
    return (outcome.label + unit, mean, own, 100 * own / mean, *published)
