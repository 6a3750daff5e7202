"""What several rings do from intensity to intensity, and which riders each estimate rests on."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.several_rings.rings_exhibits import HEADINGS, digits_of
from analysis_lib.reports.several_rings.rings_words import held_together
from analysis_lib.reports.study.curve_exhibits import trend_sentence
from analysis_lib.reports.study.effect_exhibits import name_with_unit
from analysis_lib.statistics.curves import PairedCurves
from analysis_lib.statistics.estimates import decimals_for, show_count, show_number, show_p
from analysis_lib.statistics.multiplicity import adjust_p
from analysis_lib.statistics.rings import RingsEffect
from analysis_lib.statistics.sensitivity import JointTest
from analysis_lib.study.declared.protocol import Outcome

CHANGE, INTERACTION = "change per step of intensity", "ring × intensity"
PARTS = ("whole", "in part", "out")


def tests_frame(effect: RingsEffect) -> pd.DataFrame:
    """Return the change of each ring with intensity, then the tests of ring × intensity that can be made.

    Columns ``question, ring, estimate, se, low, high, f, df_numerator, df, p, p_family, n``; ``p_family`` allows for all
    rings, by Dunnett for changes and by Holm for ring × intensity of each ring.
    """
    trend = effect.trend().to_frame().assign(question=CHANGE)
    rows = trend[["question", "ring", "estimate", "se", "low", "high", "df", "p", "p_family", "n"]]
    try:
        tests = effect.interaction()
    except Refusal:  # the sentence beside says why
        return rows
    together, *single = tests.values()
    adjusted = [together.p, *adjust_p([test.p for test in single])]
    joint = [
        {"question": INTERACTION, "ring": ring, "n": test.n, **_f_of(test), "p_family": p}
        for (ring, test), p in zip(tests.items(), adjusted, strict=True)
    ]
    columns = [*rows.columns[:6], "f", "df_numerator", *rows.columns[6:]]
    return pd.concat([rows, pd.DataFrame(joint)], ignore_index=True)[columns]


def _f_of(test: JointTest) -> dict[str, float]:
    return {"f": test.f, "df_numerator": test.df_numerator, "df": test.df_denominator, "p": test.p}


def tests_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give the change of each ring − round with intensity, and the tests that rings differ alike everywhere."""
    frame = tests_frame(effect)
    steps = frame.loc[frame["question"] == CHANGE, "se"]
    digits = dict.fromkeys(("estimate", "se", "low", "high"), decimals_for(float(steps.iloc[0])))
    return TableExhibit(
        f"tests_{outcome.name}",
        frame,
        f"{name_with_unit(outcome)}, ring − {effect.reference}: change per step of intensity, from the slopes of the"
        " riders' periods by rider, period and ring, with intervals that hold for all rings (Dunnett); and F of Wilks's Λ"
        " that rings differ by the same at every intensity, all rings together and each by itself (p, all rings: Holm).",
        {**HEADINGS, "df_numerator": "df of F"},
        digits_of(effect) | digits | {"df_numerator": 0, "df": 1},
    )


def together_table(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Give Holm's p for having looked at every ring at every intensity."""
    values = effect.to_frame()[["intensity", "ring", "estimate"]]
    return TableExhibit(
        f"together_{outcome.name}",
        values.merge(effect.holm(), on=["intensity", "ring"]),
        f"{name_with_unit(outcome)}, ring − {effect.reference}, all rings and intensities looked at together: p adjusted"
        " for all of them (Holm 1979).",
        HEADINGS,
        digits_of(effect),
    )


def intensity_sentences(outcome: Outcome, effect: RingsEffect) -> list[str]:
    """Say for each ring how its difference changes with intensity, then whether rings differ alike everywhere."""
    trend = effect.trend()
    unit = f" {trend.unit}" if outcome.difference_unit else " per step of intensity"
    words = [_change_sentence(row, unit, effect) for row in trend.to_frame().to_dict("records")]
    try:
        tests = effect.interaction()
    except Refusal as refusal:
        return [*words, f"Any change at all could not be tested: {refusal}."]
    together, *single = tests.values()
    adjusted = adjust_p([test.p for test in single])
    each = "; ".join(f"{ring} {show_p(p)}" for ring, p in zip(list(tests)[1:], adjusted, strict=True))
    degrees = f"{together.df_numerator:g}, {together.df_denominator:.4g}"
    return [
        *words,
        f"Ring × intensity, all rings together: F({degrees}) = {show_number(together.f, 2)}, {show_p(together.p)};"
        f" each ring by itself, adjusted for all rings (Holm): {each}. A test that finds no change does not show that"
        " there is none.",
    ]


def _change_sentence(row: dict, unit: str, effect: RingsEffect) -> str:
    head = f"{row['ring']} − {effect.reference}"
    if not row["se"] > 0:
        shown = show_number(row["estimate"], signed=True)
        return f"{head} changes by {shown}{unit}; the differences it rests on do not vary, so no test can be made."
    shown = show_number(row["estimate"], decimals_for(row["se"]), signed=True)
    return f"{head} changes by {shown}{unit} ({held_together(row, effect)})."


def curve_sentences(trends: Mapping[str, PairedCurves]) -> list[str]:
    """Say of each ring whether its torque curve changes with intensity somewhere in the turn."""
    return [trend_sentence(trend, f", {name}") for name, trend in trends.items()]


def riders_counted(outcome: Outcome, effect: RingsEffect) -> TableExhibit:
    """Count at each intensity the riders who are in the estimates whole, in part and not at all."""
    counts = effect.riders().groupby("intensity", sort=False)["part"].value_counts().unstack(fill_value=0)
    counts = counts.reindex(columns=PARTS, fill_value=0).rename_axis(columns=None).reset_index()
    return TableExhibit(
        f"riders_counted_{outcome.name}",
        counts,
        f"{outcome.label}: riders in the estimates. Whole: a value on every ring. In part: a ring without a value; the"
        " others still count. Out: no two rings to compare. Overall, and the change with intensity, take only periods"
        " with a value at every intensity.",
    )


def riders_lacking(outcome: Outcome, effect: RingsEffect) -> list[TableExhibit]:
    """List who lacks a ring at an intensity, and why; no table where nobody does."""
    frame = effect.riders()
    frame = frame[frame["part"] != PARTS[0]].reset_index(drop=True)
    if frame.empty:
        return []
    caption = (
        f"{outcome.label}: who is in the estimates in part or not at all. The trials behind each gap stand with their"
        " reasons under “Who took part, and what was set aside?”."
    )
    return [TableExhibit(f"riders_lacking_{outcome.name}", frame, caption)]


def missing_sentences(outcome: Outcome, effect: RingsEffect) -> list[str]:
    """Say how many riders the estimates rest on, and who lacks a ring."""
    frame = effect.riders()
    parts = frame.groupby("rider", sort=False)["part"].agg(set)
    gaps = frame[frame["part"] != PARTS[0]]
    if gaps.empty:
        return [f"All {len(parts)} riders analysed have a value of {outcome.label} on every ring."]
    lacking = [
        f"{rider} ({', '.join(dict.fromkeys(ring for rings in here['lacking'] for ring in rings.split(', ')))})"
        for rider, here in gaps.groupby("rider", sort=False)
    ]
    out = [rider for rider, found in parts.items() if found == {PARTS[2]}]
    never = f" In no estimate, without two rings to compare: {', '.join(map(str, out))}." if out else ""
    return [
        f"{show_count(len(parts) - len(out), 'rider')} in the estimates; without a value on some ring at some intensity:"
        f" {'; '.join(lacking)}. Such a rider still says something about the rings ridden, and stays in with them.{never}"
    ]
