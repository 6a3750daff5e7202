"""Tables of the tests that the study's sentences state, so that each of their numbers stands in a row."""

from __future__ import annotations

import math

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.effect_exhibits import name_with_unit
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.individual import IndividualEffects
from analysis_lib.statistics.paired_differences import REACH
from analysis_lib.statistics.standard_errors import se_interval
from analysis_lib.study.declared.protocol import Outcome

HEADINGS = {"level": "level (%)", "f": "F", "df_numerator": "df of F", "n": "riders"}
DIGITS = {"estimate": 3, "low": 3, "high": 3, "f": 3, "df": 1, "level": 0}


def tests_table(outcome: Outcome, effect: RingEffect) -> TableExhibit:
    """Give the equivalence test, how well its standard error is known, and the tests of a change with intensity."""
    verdict = judge(effect.overall, outcome.smallest_effect).test
    bounds = verdict.interval()
    rows = [
        {
            "question": "too small to matter, overall",
            "estimate": effect.overall.value,
            "low": bounds.low,
            "high": bounds.high,
            "level": 100 * bounds.level,
            "df": effect.overall.df,
            "p": verdict.p,
            "n": effect.overall.n,
            "smallest effect that matters": outcome.smallest_effect,
        }
    ]
    around = se_interval(effect.overall)
    rows.append(
        {
            "question": "standard error, overall",
            "estimate": effect.overall.se,
            "low": around.low,
            "high": around.high,
            "level": 100 * around.level,
            "df": effect.overall.df,
            "n": effect.overall.n,
        }
    )
    if len(effect.intensities) > 1:
        rows.append(_of_estimate("change per step of intensity", effect.trend()))
        try:
            joint = effect.interaction()
        except Refusal:  # the sentence beside says why
            pass
        else:
            found = {"f": joint.f, "df_numerator": joint.df_numerator, "df": joint.df_denominator}
            rows.append({"question": "ring × intensity", **found, "p": joint.p, "n": joint.n})
    return _table(
        f"tests_{outcome.name}", rows, f"{name_with_unit(outcome)}, oval − round: the tests stated above."
    )


def kept_tables(outcome: Outcome, effect: RingEffect) -> list[TableExhibit]:
    """Give what each estimate keeps of period effects in a table, or none where nothing stays."""
    kept = [remark.kept for remark in effect.remarks if remark.kept]
    rows = [
        {"intensity": part.intensity, "kept": part.amount, "largest share": part.share, "unit": part.unit}
        for part in kept
    ]
    caption = (
        f"{outcome.label}, oval − round: what each estimate keeps of the period effects estimated here, and the largest"
        " share of any one of them."
    )
    name = f"kept_{outcome.name}"
    digits = {"kept": max((part.decimals for part in kept), default=0), "largest share": 3}
    return [TableExhibit(name, pd.DataFrame(rows), caption, digits=digits)] if rows else []


def relabelling_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give the effect against the same sequences dealt otherwise, beside the primary one."""
    test = analysis.relabelling(outcome)
    bounds = test.interval()
    relabelled = {
        "question": "relabelling",
        "estimate": test.estimate,
        "low": bounds.low,
        "high": bounds.high,
        "level": 100 * bounds.level,
        "p": test.p,
        "smallest possible p": test.smallest_p,
        "allocations": test.relabellings,
        "n": test.n,
    }
    rows = [relabelled, _of_estimate("primary analysis", analysis.effect(outcome).overall)]
    return _table(f"relabelling_{outcome.name}", rows, f"{name_with_unit(outcome)}, oval − round, overall.")


def spread_table(outcome: Outcome, individual: IndividualEffects) -> TableExhibit:
    """Give how much riders differ in their response, beside the error of one period."""
    spread, bounds = individual.spread, individual.spread.interval()
    error = individual.typical_error
    response: dict[str, object] = {"question": "SD of individual response", "p": spread.p, "n": spread.n}
    if not spread.collapsed:
        found = {"estimate": spread.sd, "low": bounds.low, "high": bounds.high}
        response |= {**found, "level": 100 * bounds.level}
    rows: list[dict[str, object]] = [
        response,
        {
            "question": "SD of contrasts between riders",
            "estimate": spread.between**0.5,
            "df": spread.between_df,
        },
        {
            "question": "the same from replicates alone",
            "estimate": spread.within**0.5,
            "df": spread.within_df,
        },
        {
            "question": "SD of response, bound from contrasts alone",
            "high": spread.cautious_bound(),
            "level": 95,
            "df": spread.between_df,
        },
        {"question": "typical error of one period", "estimate": error, "df": individual.typical_error_df},
        {"question": "smallest change between two periods", "estimate": REACH * math.sqrt(2) * error},
        {"question": "smallest detectable oval − round of one rider", "estimate": REACH * error},
    ]
    return _table(
        f"spread_{outcome.name}", rows, f"{name_with_unit(outcome)}: spread of response, and error."
    )


def carry_over_table(analysis: StudyAnalysis, outcome: Outcome) -> TableExhibit:
    """Give what an oval ring leaves behind for the next period, less what a round one leaves."""
    rows = [_of_estimate("carry-over", analysis.carry_over(outcome))]
    return _table(f"carry_over_{outcome.name}", rows, f"{name_with_unit(outcome)}: carry-over, oval − round.")


def _of_estimate(question: str, estimate: Estimate) -> dict[str, object]:
    bounds = estimate.interval()
    return {
        "question": question,
        "estimate": estimate.value,
        "se": estimate.se,
        "low": bounds.low,
        "high": bounds.high,
        "level": 100 * bounds.level,
        "df": estimate.df,
        "p": estimate.p,
        "n": estimate.n,
    }


def _table(name: str, rows: list[dict[str, object]], caption: str) -> TableExhibit:
    return TableExhibit(name, pd.DataFrame(rows), caption, HEADINGS, DIGITS)
